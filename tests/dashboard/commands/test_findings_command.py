"""`setscrew findings` and `setscrew report`: keys as documented, filters, exit codes, and files that stand alone."""

import json
import re
from pathlib import Path

import pytest

import analysis
from analysis.findings import QUESTIONS
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.pages import PAGES
from dashboard.state.dashboard_session import Session
from ingest.encode import main as encode
from ingest.study.store import open_study
from tests.ingest.studies import dictionary, event, log_of

JSON_MD = (Path(__file__).parents[3] / "dashboard" / "JSON.md").read_text(encoding="utf-8")


def answer(capsys, *words: str) -> dict:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in the JSON")

    assert main(["findings", "--json", *words]) == exits.OK
    return json.loads(capsys.readouterr().out, parse_constant=refuse)


def documented(heading: str) -> list[set[str]]:
    """The keys of each table below a heading of JSON.md."""
    section = JSON_MD.split(f"## {heading}")[1].split("\n## ")[0]
    return [
        set(re.findall(r"`([a-z_]+)`", " ".join(line.split("|")[1] for line in table.strip().splitlines()[2:])))
        for table in re.findall(r"(?:^\|.*\n)+", section, re.MULTILINE)
    ]


def test_keys_are_those_of_the_document(capsys, demo_study):
    found = answer(capsys, "--study", str(demo_study))
    whole, game, finding = documented("`setscrew findings --study STUDY --json`")
    assert set(found) == whole
    assert [g["game"] for g in found["games"]] == ["Soot Wardens", "Tin Drizzle"] or len(found["games"]) == 2
    for one in found["games"]:
        assert set(one) == game and one["runs"] > 0
        assert {f["question"] for f in one["findings"]} == set(QUESTIONS)
        for f in one["findings"]:
            assert set(f) == finding
            assert f["method"] in found["methods"], f["id"]
            assert f["sentence"][-1] in ".!?)" and f["players"] >= 0
            for table in f["tables"].values():
                assert len({len(column) for column in table.values()}) <= 1, f["id"]


def test_filters_are_obeyed(capsys, demo_study):
    words = ["--study", str(demo_study), "--game", "Soot Wardens", "--question", "survival", "--build", "all"]
    every = answer(capsys, *words)["games"][0]
    first = answer(capsys, *words, "--attempts", "1-1")["games"][0]
    assert first["players"] == every["players"] == first["runs"] < every["runs"]
    assert {f["question"] for f in first["findings"]} == {"survival"}
    boss = answer(capsys, *words, "--stage", "1b", "--player", "P01")["games"][0]
    assert boss["players"] == 1 and boss["selection"]["stage_kind"] == 1
    assert all(f["indicative"] for f in boss["findings"])


@pytest.mark.parametrize(
    "words, code, says",
    [
        (["--game", "No Such"], exits.USAGE, "Its games: "),
        (["--question", "luck"], exits.USAGE, "The questions: "),
        (["--stage", "two"], exits.USAGE, "--stage"),
        (["--attempts", "x"], exits.USAGE, "--attempts"),
        (["--game", "Soot Wardens", "--player", "P99"], exits.THIN, "No run was chosen"),
    ],
)
def test_what_is_wrong_is_said(capsys, demo_study, words, code, says):
    assert main(["findings", "--study", str(demo_study), *words]) == code
    assert says in capsys.readouterr().err


def test_no_study(capsys, tmp_path):
    assert main(["findings", "--study", str(tmp_path / "none.duckdb")]) == exits.INPUT
    assert "setscrew ingest" in capsys.readouterr().err


def test_a_study_of_unreadable_logs_says_so_everywhere(capsys, tmp_path):
    log, study = tmp_path / "noise.playlog", tmp_path / "noise.duckdb"
    lines = [dictionary({"begin": ("run_start", {"who": "u8 player"})}), event(10, "begin", who=1)]
    log.write_bytes(b"\x05abcdefghijklmn\0" * 9 + log_of(lines)[-12:])  # one packet, without its dictionary
    assert main(["ingest", "--study", str(study), str(log)]) == exits.THIN
    for words in (["findings"], ["report", "--out", str(tmp_path / "out")], ["compare"]):
        capsys.readouterr()
        assert main([*words, "--study", str(study)]) == exits.THIN
        said = capsys.readouterr().err
        assert "it holds no run that can be read" in said and "noise.playlog: 9 packets arrived broken" in said
    session = Session(open_study(study))
    for page in PAGES:
        shown = str(page.body(session, None))
        assert page.path in ("/live", "/import", "/terms") or "No run could be read" in shown, page.path
        assert "Nothing has been ingested yet" not in shown
    session.close()


def test_one_of_anything_is_not_called_several(capsys, tmp_path):
    kinds = {"begin": ("run_start", {"who": "u8 player"})}
    tunables = [{"name": name, "value": 3, "min": 1, "max": 9} for name in ("lives", "speed")]
    log, study, out = tmp_path / "a.playlog", str(tmp_path / "a.duckdb"), tmp_path / "tuned.h"
    log.write_bytes(log_of([dictionary(kinds, tunables=tunables), event(10, "begin", who=1)]))
    players = tmp_path / "players.csv"
    players.write_text("player,group\nP01,A\n", encoding="utf-8")

    def said(*words: str) -> str:
        main([*words, "--study", study])
        return capsys.readouterr().out

    assert "1 log, 1 new, 0 grown, 0 unchanged: 1 run, 1 event\n" in said("ingest", str(log))
    assert "Moth Run — build 1.0, the newest, 1 player, 1 run\n" in said("findings", "--question", "trust")
    assert said("people", "--players", str(players)).endswith(": 1 player\n")
    assert "2 values differ" in said("header", "--out", str(out))
    assert "1 value differs" in said("header", "--out", str(out), "--set", "lives=4")


def test_a_header_of_the_present_values_says_so(capsys, demo_study, tmp_path):
    out = tmp_path / "tuned.h"
    words = ["header", "--study", str(demo_study), "--game", "Soot Wardens", "--out", str(out)]
    assert main(words) == exits.OK
    said = capsys.readouterr()
    assert "the present values of lantern 1.3" in said.err and "nothing was changed" in said.err
    assert "--proposal ID" in said.err and "--set NAME=VALUE" in said.err
    assert "Why: the present values" in out.read_text(encoding="utf-8") and "; was" not in out.read_text(
        encoding="utf-8"
    )
    for chosen in (["--set", "start_lives=4"], ["--proposal", "start_lives=4"], ["--proposal", "no_change"]):
        assert main([*words, *chosen]) == exits.OK
        assert capsys.readouterr().err == ""


def test_the_ids_that_the_header_takes_are_printed(capsys, demo_study, tmp_path):
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\noutcome = "reach_stage"\nstage = 2\nwanted = "75 %"\n', encoding="utf-8")
    words = ["--study", str(demo_study), "--game", "Soot Wardens"]
    assert main(["propose", *words, "--targets", str(targets), "--all"]) == exits.OK
    ids = re.findall(r"--proposal (\S+)\n", capsys.readouterr().out)
    assert ids
    for chosen in ids:
        assert main(["header", *words, "--out", str(tmp_path / "t.h"), "--proposal", chosen, "--json"]) == exits.OK
        values = json.loads(capsys.readouterr().out)["values"]
        for change in chosen.split("+"):
            name, _, value = change.partition("=")
            assert values[f"TUNED_{name.upper()}"] == int(value)


def test_the_answers_come_first_a_line_or_two_each(capsys, demo_study, monkeypatch):
    monkeypatch.setenv("COLUMNS", "72")
    words = ["--study", str(demo_study), "--game", "Soot Wardens"]
    asked = answer(capsys, *words)["games"][0]["findings"]
    assert main(["findings", *words]) == exits.OK
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 72 and len(said.splitlines()) < 25
    plain = " ".join(said.split())
    leads = {f["question"] for f in asked if f["headline"]}
    for question in QUESTIONS.values():
        own = [f"{f['headline']} ({f['certainty']})" for f in asked if f["question"] == question.id and f["headline"]]
        assert not own or any(f"{question.short} {line}" in plain for line in own), question.id
    assert len(leads) >= 4 and "Nothing to show" not in said
    assert main(["findings", *words, "--all"]) == exits.OK
    every = capsys.readouterr().out
    assert all(f["sentence"] in every for f in asked)


def test_a_proposal_is_one_answer_and_one_table(capsys, demo_study, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\noutcome = "reach_stage"\nstage = 2\nwanted = "75 %"\n', encoding="utf-8")
    words = ["propose", "--study", str(demo_study), "--game", "Soot Wardens", "--targets", str(targets)]
    assert main([*words, "--json"]) == exits.OK
    first = json.loads(capsys.readouterr().out)["proposals"][0]
    assert main(words) == exits.OK
    said = capsys.readouterr().out
    lines = said.splitlines()
    # What is to be copied stands in one line, however long.
    assert len(lines) < 35 and max(len(line) for line in lines if "--" not in line) <= 80
    row = next(line for line in lines if line.startswith("first runs given up"))
    percents = [int(word) for word in re.findall(r"(\d+) %", row)]
    then = [100 * way["side_effects"]["proposed"]["quit_share"] for way in first["ways"]]
    runs = analysis.open(demo_study).runs("Soot Wardens")
    own = runs[(runs["build"] == "lantern 1.3 b") & (runs["attempt"] == 1) & ~runs["team"] & runs["valid"]]
    seen = 100 * (own["ending"] == "quit").mean()
    assert percents == [round(seen), round(100 * first["side_effects"]["now"]["quit_share"]), *map(round, then)]
    assert first["id"] == "no_change" or f"--proposal {first['id']}" in said


EVIL = '</script><img src=x onerror="alert(1)">=1+1&$\\x_%'


@pytest.fixture(scope="module")
def evil_study(tmp_path_factory) -> Path:
    """A study whose every text would do harm where it is not escaped."""
    folder = tmp_path_factory.mktemp("evil")
    kinds = [
        {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
        {
            "name": "fell",
            "role": "death",
            "fields": [
                {"name": "x", "type": "u8", "role": "x"},
                {"name": "y", "type": "u8", "role": "y"},
                {"name": "why", "type": "u8", "role": "cause", "labels": {"1": EVIL}},
            ],
        },
        {"name": "stop", "role": "run_end", "fields": [{"name": "how", "type": "u8", "role": "ending"}]},
    ]
    lines = [{"dictionary": {"game": EVIL, "firmware": EVIL, "clock": 1000, "screen": [160, 128], "kinds": kinds}}]
    for run in range(12):
        t = run * 10_000
        lines += [
            {"t": t, "kind": "begin", "who": 1 + run % 9},
            {"t": t + 4000, "kind": "fell", "x": 8, "y": 9, "why": 1},
        ]
        lines.append({"t": t + 4001, "kind": "stop", "how": 1})
    source, log = folder / "evil.jsonl", folder / "evil.playlog"
    source.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    assert encode([str(source), str(log)]) == 0
    assert main(["ingest", "--study", str(folder / "evil.duckdb"), str(log)]) == exits.OK
    return folder / "evil.duckdb"


def written(study: Path, folder: Path, *words: str) -> str:
    assert main(["report", "--study", str(study), "--out", str(folder), *words]) == exits.OK
    return (folder / "report.html").read_text(encoding="utf-8")


def test_texts_from_a_log_do_no_harm_in_the_report(evil_study, tmp_path):
    html = written(
        evil_study, tmp_path / "out", "--title", EVIL, "--consent", EVIL, "--no-proposals", "--browser", "none-here"
    )
    code = re.sub(r"<script>.*?</script>", "", html, flags=re.DOTALL)
    assert "onerror=" not in re.sub(r"onerror=&(quot|#34);", "", code)
    assert "&lt;/script&gt;&lt;img" in code
    for table in (tmp_path / "out" / "tables").glob("*.csv"):
        for line in table.read_text(encoding="utf-8").splitlines():
            assert not re.match(r'"?[=+@]', line), table.name
    causes = (tmp_path / "out" / "tables" / "1-deaths.causes-causes.tex").read_text(encoding="utf-8")
    causes = causes.replace(r"\allowbreak{}", "")
    assert r"\&\$\textbackslash{}x\_\%" in causes and "&lt;" not in causes


def test_without_a_browser_the_html_draws_itself(demo_study, tmp_path, capsys):
    html = written(demo_study, tmp_path, "--game", "Tin Drizzle", "--no-proposals", "--browser", "none-here")
    assert "Plotly.newPlot" in html and "data-figure=" in html
    assert not (tmp_path / "report.pdf").exists() and not (tmp_path / "figures").exists()
    assert "No Chromium-family browser" in capsys.readouterr().err
