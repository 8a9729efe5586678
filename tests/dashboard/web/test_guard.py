"""Who may talk to the dashboard."""

import pytest

from dashboard.web.app import build_app
from dashboard.web.guard import LARGEST_REQUEST, is_loopback


@pytest.fixture(scope="module")
def client(read_session):
    return build_app(read_session).server.test_client()


@pytest.fixture(scope="module")
def guarded(read_session):
    return build_app(read_session, host="0.0.0.0", token="s3cret").server


@pytest.mark.parametrize("host", ["127.0.0.1:8750", "localhost:8750", "[::1]:8750"])
def test_this_machine_is_let_in(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8750", "127.0.0.1.evil.example", "192.168.1.7:8750", ""]
)
def test_a_foreign_name_is_refused(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 403


def test_another_sites_page_may_not_send(client):
    headers = {"Host": "127.0.0.1:8750", "Origin": "http://evil.example"}
    assert client.post("/_dash-update-component", json={}, headers=headers).status_code == 403
    assert client.get("/", headers=headers | {"Origin": "http://127.0.0.1:8750"}).status_code == 200


def test_no_answer_allows_outside_content(client):
    policy = client.get("/", headers={"Host": "localhost"}).headers["Content-Security-Policy"]
    assert "http" not in policy and "unsafe-eval" not in policy
    assert "script-src 'self' 'sha256-" in policy and "default-src 'none'" in policy


def test_bound_elsewhere_it_asks_for_the_token(guarded):
    host = {"Host": "192.168.1.7:8750"}
    fresh = guarded.test_client()
    assert fresh.get("/", headers=host).status_code == 401
    assert fresh.get("/?token=wrong", headers=host).status_code == 401
    answer = fresh.get("/?token=s3cret", headers=host)
    assert answer.status_code == 302 and "token" not in answer.headers["Location"]
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    fresh.set_cookie("setscrew_token", "s3cret", domain="192.168.1.7")
    assert fresh.get("/", headers=host).status_code == 200
    assert fresh.get("/", headers={"Host": "evil.example"}).status_code == 403


def test_uploads_are_bounded(client):
    size = LARGEST_REQUEST + 1
    answer = client.post(
        "/_dash-update-component",
        headers={"Host": "localhost", "Content-Type": "application/json"},
        environ_overrides={"CONTENT_LENGTH": str(size)},
    )
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "host, local",
    [
        ("127.0.0.1", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("10.0.0.3", False),
        ("table.local", False),
    ],
)
def test_what_counts_as_this_machine(host, local):
    assert is_loopback(host) is local


@pytest.mark.parametrize(
    "path",
    ["/table/nothing/cells.csv", "/figure/x.json", "/header/9/9.h", "/report/9.zip", "/table/deaths.places/none.html"],
)
def test_what_is_not_there_is_not_found(client, path):
    assert client.get(path, headers={"Host": "localhost"}).status_code == 404
