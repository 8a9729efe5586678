"""The house as a whole: what lies at the top, what the documents promise, what must stand in no file."""

import argparse
import importlib
import importlib.metadata
import importlib.util
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from dashboard import cli
from dashboard.commands import COMMANDS
from ingest.vocabulary import EventRole, FieldRole, TunableRole
from tests.needs import need

ROOT = Path(__file__).resolve().parent.parent
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "constraints.txt",
    ".gitignore",
    ".gitattributes",
    ".ci",
    "ingest",
    "analysis",
    "dashboard",
    "demo_logs",
    "tests",
}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
REQUIREMENTS = [Requirement(line) for line in [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]]
# Not needed to run the tests, so it need not be installed.
BENCH = [Requirement(line) for line in PROJECT["optional-dependencies"]["bench"]]


@pytest.fixture(scope="module")
def tracked() -> list[Path]:
    """Every file that git keeps."""
    need((ROOT / ".git").exists(), "this is no git checkout")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True).stdout
    return [Path(name) for name in listed.decode().split("\0") if name and (ROOT / name).exists()]


def test_nothing_else_lies_at_the_top(tracked):
    assert {path.parts[0] for path in tracked} - TOP == set()


# --- words ------------------------------------------------------------------------------------------------------------

# Words of one game's community, where games of falling blocks are meant: what is meant has a plain name (FORMAT.md,
# section 6). As whole words, in any case; "_" parts words.
_NOT_OURS = re.compile(
    r"(?<![a-z])(droughts?|top(s|ped|ping)?[ _-]?outs?|locks? (down|delay)|lines? clear(s|ed)?|(soft|hard)[ _-]?drops?|"
    r"garbage rows?|hold piece|ghost piece|wall[ _-]?kicks?|back[ _-]to[ _-]back|combos?)(?![a-z])",
    re.IGNORECASE,
)
_NOT_OUR_ROLES = {"lock", "lines", "line"}


def test_words_of_one_games_community_do_not_come_back(tracked):
    own = Path(__file__).resolve().relative_to(ROOT)
    found = []
    for path in tracked:
        if path == own or "vendored" in path.parts:
            continue
        found += [f"{path}: its name"] if _NOT_OURS.search(str(path)) else []
        try:
            text = (ROOT / path).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # pictures; what a play log says is text of the games' headers, which are read
        found += [f"{path}: {match.group()}" for match in _NOT_OURS.finditer(text)]
    assert found == []


def test_roles_have_names_of_our_own():
    names = {str(role) for roles in (EventRole, FieldRole, TunableRole) for role in roles}
    assert {"landed", "rows"} <= names and not names & _NOT_OUR_ROLES
    assert all(_NOT_OURS.search(word) for word in ("drought", "top_out_level", "Topped out", "lines cleared"))


# --- documents -------------------------------------------------------------------------------------------------------


def documents() -> list[Path]:
    skipped = {".venv", "node_modules", ".git"}
    return [path for path in sorted(ROOT.rglob("*.md")) if not skipped & set(path.relative_to(ROOT).parts)]


def commands_in(text: str) -> list[str]:
    """The lines of the shell code blocks, comments left out."""
    lines = []
    for block in re.findall(r"^```(?:sh|bash|console)\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
        lines += block.replace("\\\n", " ").splitlines()
    return [line.removeprefix("$ ").strip() for line in lines if line.strip() and not line.lstrip().startswith("#")]


DOCUMENTED = [
    (path.relative_to(ROOT), command)
    for path in documents()
    for command in commands_in(path.read_text(encoding="utf-8"))
]


@pytest.mark.parametrize(("document", "command"), DOCUMENTED, ids=[f"{d}: {c}" for d, c in DOCUMENTED])
def test_every_command_in_the_documents_can_be_called(document, command, monkeypatch):
    words = shlex.split(command, comments=True)
    while words and re.fullmatch(r"[A-Z_]+=\S*", words[0]):
        words = words[1:]
    match words:
        case ["setscrew", *rest]:
            called = []
            for module in map(importlib.import_module, COMMANDS.values()):
                monkeypatch.setattr(module, "run", lambda arguments: called.append(arguments) or 0)
            assert cli.main(rest) == 0
            assert called
        case ["python" | "python3", "-m", "pip" | "venv" | "pytest" | "mypy" | "ruff", *_]:
            pass
        case ["python" | "python3", "-m", module, *_]:
            found = importlib.util.find_spec(module)
            assert found is not None, f"{document}: there is no module {module}"
            if found.submodule_search_locations is not None:
                assert importlib.util.find_spec(f"{module}.__main__") is not None
        case ["python" | "python3", script, *_]:
            assert (ROOT / script).is_file() or (ROOT / document.parent / script).is_file()
        case ["git" | "cd" | "source" | "apt" | "apt-get" | "pip" | "make" | "bash" | "pytest" | "cc" | "gcc", *_]:
            pass
        case [first, *_]:
            # Compilers and emulators of the firmware's own documents.
            assert first.startswith(("arm-none-eabi-", "qemu-system-", "clang")), f"{document}: unknown command {first}"


def test_the_documents_are_searched_for_commands():
    """The check above cannot pass by finding nothing."""
    assert (Path("README.md"), "python -m demo_logs") in DOCUMENTED
    assert (Path("README.md"), "python -m tests") in DOCUMENTED
    assert sum(command.startswith("setscrew ") for _, command in DOCUMENTED) >= 5


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_is_in_the_readme_and_every_option_is_explained(name):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.search(rf"\bsetscrew {name}\b", readme), f"README.md does not say what `setscrew {name}` is for"
    parser = argparse.ArgumentParser()
    module = importlib.import_module(COMMANDS[name])
    module.add_arguments(parser)
    assert module.HELP
    options = [option for action in parser._actions for option in action.option_strings]
    assert all(action.help for action in parser._actions if action.dest != "help")
    if "--json" in options:
        assert f"## `setscrew {name} " in (ROOT / "dashboard/JSON.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("document", [path.relative_to(ROOT) for path in documents()], ids=str)
def test_every_link_between_the_documents_leads_somewhere(document):
    text = re.sub(r"```.*?```|`[^`\n]*`", "", (ROOT / document).read_text(encoding="utf-8"), flags=re.DOTALL)
    targets = re.findall(r"!?\[[^\]]*\]\(([^)#\s]+)(?:#[^)]*)?\)", text) + re.findall(r'src="([^"]+)"', text)
    for target in targets:
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (ROOT / document.parent / target).exists(), f"{document}: {target}"


# --- dependencies ----------------------------------------------------------------------------------------------------


def pins() -> dict[str, str]:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = [
        re.fullmatch(r"([A-Za-z0-9_.-]+)==([0-9][A-Za-z0-9.+!]*)", line) for line in lines if line[:1] not in ("#", "")
    ]
    assert all(pinned), "every line of constraints.txt is NAME==VERSION"
    return {canonicalize_name(pin[1]): pin[2] for pin in pinned if pin}


def test_every_dependency_has_its_reason_and_its_pin():
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    reasons = set(re.findall(r"`([^`]+)`", " ".join(re.findall(r"^\|(.*?)\|", developers, re.MULTILINE))))
    for requirement in [*REQUIREMENTS, *BENCH]:
        assert requirement.name in reasons, f"DEVELOPERS.md gives no reason for {requirement.name}"
        assert requirement.specifier.contains(pins()[canonicalize_name(requirement.name)])


def test_everything_that_comes_along_is_pinned_to_what_is_installed():
    pinned, waiting, seen = pins(), list(REQUIREMENTS), set()
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        if name in seen or (requirement.marker and not requirement.marker.evaluate({"extra": ""})):
            continue
        seen.add(name)
        try:
            found = importlib.metadata.distribution(requirement.name)
        except importlib.metadata.PackageNotFoundError:
            pytest.fail(f"{requirement.name} is not installed: python -m pip install -e .[test] -c constraints.txt")
        assert pinned.get(name) == found.version, (
            f"{name} {found.version} is installed; constraints.txt has {pinned.get(name)}"
        )
        waiting += [Requirement(line) for line in found.requires or ()]
    assert len(seen) > len(REQUIREMENTS)


# --- what stands in no file ------------------------------------------------------------------------------------------

# Put together here, so that this file does not hold what it looks for.
HOSTS = "|".join(
    [r"pypi\." + "org", "python" + "hosted", r"npm" + r"js\.", r"deb\." + "debian", "index" + "-url", "find" + "-links"]
)
MACHINE = r"(?<![\w.~}/-])/(?:" + "|".join(["work", "root", "home", "Users", "opt", "mnt"]) + r")/\w"
BANNED = re.compile(f"{HOSTS}|{MACHINE}", re.IGNORECASE)


def test_no_registry_and_no_path_of_a_machine_stands_in_any_file(tracked):
    found = []
    for path in tracked:
        content = (ROOT / path).read_bytes()
        if b"\0" not in content[:8192]:
            for number, line in enumerate(content.decode("utf-8", "replace").splitlines(), 1):
                if hit := BANNED.search(line):
                    found.append(f"{path}:{number}: {hit[0]}")
    assert found == []


@pytest.mark.parametrize("text", ["see https://" + "pypi." + "org/simple", "cd /" + "home/ann/x", '"/' + 'work/x"'])
def test_a_planted_one_is_found(text):
    assert BANNED.search(text)


def test_no_file_is_large(tracked):
    """A clone must stay quick: what is generated is made again, not kept."""
    large = {str(path): (ROOT / path).stat().st_size for path in tracked if (ROOT / path).stat().st_size > 3_000_000}
    assert large == {}


# --- the tests' own rules --------------------------------------------------------------------------------------------


def test_tests_are_skipped_through_the_one_helper_only(tracked):
    skip = re.compile(r"pytest\.(?:skip|importorskip|mark\.skip|mark\.xfail)|unittest\.skip")
    own = {Path("tests/needs.py"), Path("tests/test_house.py")}
    found = [
        str(path)
        for path in tracked
        if path.parts[0] == "tests"
        and path.suffix == ".py"
        and path not in own
        and skip.search((ROOT / path).read_text(encoding="utf-8"))
    ]
    assert found == []


def test_a_need_that_is_not_met_skips_here_and_fails_where_skips_are_forbidden(tmp_path):
    case = tmp_path / "test_case.py"
    case.write_text(
        "import pytest\nfrom tests.needs import need\n"
        "def test_need():\n    need(False, 'no such thing')\n"
        "@pytest.mark.skip(reason='by another way')\ndef test_mark():\n    pass\n"
        "def test_fine():\n    need(True, '')\n",
        encoding="utf-8",
    )
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "tests.conftest",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        str(tmp_path),
    ]
    outcomes = {}
    for forbidden in ("0", "1"):
        done = subprocess.run(
            [*command, "-q", str(case)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            env={**os.environ, "SETSCREW_NO_SKIPS": forbidden, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
            check=False,
        )
        outcomes[forbidden] = (done.returncode, done.stdout.strip().splitlines()[-1])
    assert outcomes["0"][0] == 0
    assert "1 passed, 2 skipped" in outcomes["0"][1]
    assert outcomes["1"][0] == 1
    assert "skipped" not in outcomes["1"][1]


def test_the_script_for_ci_is_sound(tracked):
    need(sys.platform != "win32", "bash is not there on Windows")
    subprocess.run(["bash", "-n", str(ROOT / ".ci/run")], check=True)
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert "SETSCREW_NO_SKIPS=1" in script
    assert script.rstrip().endswith("python3 -m tests </dev/null")
