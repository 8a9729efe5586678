"""README's steps 4 to 8, all their commands in that order, beside the dashboard that step 4 opens.

Where step 4 links to the page on looking after a study, the commands of that page come.
"""

import json
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import threading
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from dashboard.command_line import exits
from tests.dashboard.conftest import DEMO
from tests.ingest.studies import recorded_at
from tests.interrupting import interruptible
from tests.waiting import PATIENCE_S, until

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LINKED = "dashboard/STUDY.md"
STEPS = README[README.index("### 4. ") :].partition("\n## ")[0]
OWN = "soot_wardens_a_table1"
CHANGED = "soot_wardens_b_table2"
NEIGHBOURS = "one_puff_a_table1"
WITHDRAWS = "P05"  # plays the own game


def commands() -> list[list[str]]:
    """The words of each `setscrew` command that stands in steps 4 to 8 and their linked page, in blocks and in text."""
    before, link, after = STEPS.partition(f"({LINKED})")
    assert link
    steps = before + (ROOT / LINKED).read_text(encoding="utf-8") + after
    found = re.findall(r"^(setscrew .+)$|`(setscrew [^`]+)`", steps, re.MULTILINE)
    return [shlex.split(block or " ".join(text.split())) for block, text in found]


def test_the_readme_names_what_is_tried_here():
    names = [words[1] for words in commands()]
    wanted = "ingest people show forget forget people roles findings propose plan header record ingest compare report"
    assert names == [*wanted.split(), "export"]


@pytest.fixture
def folder(tmp_path) -> Path:
    """What somebody has who did steps 1 to 3, wrote the target of step 5, and recorded a neighbour's game too."""
    (tmp_path / "playtest").mkdir()
    for name in (OWN, NEIGHBOURS):
        log = Path(shutil.copy(DEMO / f"{name}.playlog", tmp_path / "playtest"))
        recorded_at(log, "2020-01-01T10:00:00+00:00")
    shutil.copy(DEMO / "players.csv", tmp_path)
    (tmp_path / "ratings.csv").write_text("player,game,attempt,rating\nP01,Soot Wardens,1,55\n", encoding="utf-8")
    (tmp_path / "target.toml").write_text(README.split("```toml\n")[1].split("```")[0], encoding="utf-8")
    return tmp_path


@contextmanager
def changed_console() -> Iterator[str]:
    """The port of a console with the changed game, which sends what was played and then nothing more."""
    log = (DEMO / f"{CHANGED}.playlog").read_bytes()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def send() -> None:
            line = server.accept()[0]
            with line:
                line.sendall(log)
                line.recv(1)  # until the recording ends

        sending = threading.Thread(target=send)
        sending.start()
        yield f"tcp:127.0.0.1:{server.getsockname()[1]}"
        sending.join(PATIENCE_S)


class Dashboard:
    """`setscrew show`, open, and what it shows."""

    def __init__(self, words: list[str], folder: Path):
        command = [sys.executable, "-m", "dashboard.cli", *words[1:], "--port", "0", "--no-browser"]
        self.process = subprocess.Popen(interruptible(command), cwd=folder, stderr=subprocess.PIPE, text=True)
        assert self.process.stderr is not None
        self.address = self.process.stderr.readline().split()[-1]

    def shows(self, page: str) -> str:
        """All of one page of the game."""
        words = urllib.parse.urlencode({"page": page, "search": "?game=Soot+Wardens"})
        with urllib.request.urlopen(f"{self.address}part.json?{words}", timeout=PATIENCE_S) as answer:
            return "".join(map(str, json.load(answer).values()))

    def fingerprint(self) -> str:
        return re.search(r"data <code>(\w+)</code>", self.shows("/deaths"))[1]

    def comes_to_show(self, fingerprint: str) -> None:
        """Waits until the page is of the data that have this fingerprint."""
        until(lambda: self.fingerprint() == fingerprint)

    def comes_to_lack(self, player: str) -> None:
        """Waits until the page on the players does not name this one."""
        until(lambda: player not in self.shows("/players"))


@pytest.mark.timeout(900)  # a dozen commands, each of which takes seconds
def test_every_command_works_beside_the_open_dashboard(folder):
    dashboard: Dashboard | None = None
    seen: dict[str, str] = {}
    try:
        for words in commands():
            if words[1] == "show":
                dashboard = Dashboard(words, folder)
                seen["show"] = dashboard.fingerprint()
                continue
            withdraws = dashboard is not None and "--player" in words
            assert not withdraws or WITHDRAWS in dashboard.shows("/players")
            seen[words[1]] = done(words, folder)
            if dashboard is None:
                continue
            assert dashboard.process.poll() is None
            if withdraws:
                dashboard.comes_to_lack(WITHDRAWS)
            # What the command said it read or wrote is what the dashboard shows.
            told = re.search(r'"fingerprint": "(\w+)"|Data fingerprint (\w+)', seen[words[1]])
            if told:
                dashboard.comes_to_show(told[1] or told[2])
        assert dashboard is not None
        assert dashboard.fingerprint() != seen["show"]
        assert "P19" in dashboard.shows("/players")  # who played the changed game only
        dashboard.process.send_signal(signal.SIGINT)
        assert dashboard.process.wait(PATIENCE_S) == exits.OK
    finally:
        if dashboard is not None:
            dashboard.process.kill()
            dashboard.process.communicate()
    assert (folder / "report" / "report.html").exists() and (folder / "moth_tuned.h").exists()
    assert not list(folder.glob("*.wanted")) and not list(folder.glob("*.wal"))


def done(words: list[str], folder: Path) -> str:
    """What the command printed; it must succeed. Stands in for what README leaves to the reader."""
    command = [sys.executable, "-m", "dashboard.cli", *words[1:]]
    if words[1] == "forget" and "--player" in words:
        command[-1:] = [WITHDRAWS, "--yes"]
    elif words[1] == "forget":
        command[-1:] = [f"playtest/{NEIGHBOURS}.playlog", "--yes"]
    if words[1] == "roles":
        command[command.index("fall_ms")] = "aimed_share"  # `fall_ms` stands for a tunable of your game
    if words[1] == "header":
        command[command.index("lives=4")] = "start_lives=4"  # `lives` stands for a tunable of your game
    if words[1] == "record":
        with changed_console() as port:
            size = (DEMO / f"{CHANGED}.playlog").stat().st_size
            recording = subprocess.Popen(interruptible([*command, port]), cwd=folder, stdout=subprocess.PIPE, text=True)
            until(lambda: any(p.stat().st_size == size for p in (folder / "playtest").glob("*-*.playlog")))
            recording.send_signal(signal.SIGINT)
            said, _ = recording.communicate(timeout=PATIENCE_S)
            assert recording.returncode == exits.OK
            return said
    ended = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=600, check=False)
    assert ended.returncode == exits.OK, (words, ended.stderr)
    assert "Traceback" not in ended.stderr
    if words[1] == "forget" and "--player" not in words:
        (folder / "playtest" / f"{NEIGHBOURS}.playlog").unlink()
    return ended.stdout
