"""From a study and targets to proposals: contracts of the command, and that the words keep to the figures."""

import contextlib
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest

from analysis.models.data import Segment, Tunable
from analysis.models.moves import nearest
from analysis.models.setting import rules
from analysis.models.targets import Changeable
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.search import change_size
from analysis.tuning.target_file import read_targets
from analysis.tuning.whatif import outcome_map, predict, sensitivity, slider_values
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_answer import fit_game, propose_game
from dashboard import cli
from dashboard.command_line import exits
from ingest.encode import encode_lines
from ingest.study.store import import_log, open_study
from ingest.vocabulary import TunableRole

GAME = "Soot Drift"
DOCS = Path(__file__).parents[3] / "dashboard" / "JSON.md"


def ask(study, targets, capsys, *more):
    code = cli.main(["propose", "--study", str(study), "--targets", str(targets), "--json", *more])
    said = capsys.readouterr()
    return code, json.loads(said.out) if said.out else None, said.err


@pytest.fixture(scope="module")
def answer(played, tmp_path_factory):
    """What the command prints for one target, asked once."""
    targets = tmp_path_factory.mktemp("answer") / "t.toml"
    targets.write_text('[[target]]\noutcome = "finish"\nwanted = "57 %"\n', encoding="utf-8")
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert cli.main(["propose", "--study", str(played), "--targets", str(targets), "--json"]) == exits.OK
    return json.loads(said.getvalue())


def test_the_command_gives_ranked_proposals_that_can_be_held(answer, world):
    proposals = answer["proposals"]
    assert [p["rank"] for p in proposals] == list(range(1, len(proposals) + 1))
    assert len({p["id"] for p in proposals}) == len(proposals) >= 3
    for p in proposals:
        assert p["advice"] in ("change", "not_yet", "close_enough")
        assert 0 <= p["chance_better"] <= 1
        assert p["players"] == 12
        for c in p["changes"]:
            assert c["proposed"] != c["now"] == world.now[c["tunable"]]
            assert c["low"] <= c["proposed"] <= c["high"]
            assert (c["proposed"] - c["low"]) % c["step"] == 0
            assert p["carried_by"][c["tunable"]]
        for t in p["targets"]:
            for said in (t["now"], t["proposed"]):
                order = [said[k] for k in ("low95", "low80", "value", "high80", "high95")]
                assert order == sorted(order)
                assert 0 <= said["next_low"] <= said["next_high"] <= 1
        if p["advice"] == "not_yet":
            assert p["settles_it"]
        assert p["chance_better"] >= 0.8 or p["advice"] != "change"
    assert answer["methods"][proposals[0]["method"]]["sources"]
    assert any(p["side_effects"]["proposed"]["run_length_s"] > 0 for p in proposals)


def test_every_key_is_documented(answer):
    text = DOCS.read_text(encoding="utf-8")
    keys = set(answer) | set(answer["targets"][0]) | set(answer["proposals"][0])
    keys |= set(answer["proposals"][0]["targets"][0]) | set(answer["proposals"][0]["targets"][0]["now"])
    for p in answer["proposals"]:
        keys |= {key for change in p["changes"] for key in change} | set(p["side_effects"]["now"])
    assert sorted(key for key in keys if f"`{key}`" not in text) == []


def test_the_same_question_gets_the_same_answer(answer, played, targets_file, capsys):
    assert ask(played, targets_file, capsys)[1] == answer


def test_other_assumptions_are_shown_for_the_first_proposal(answer, played, targets_file, capsys):
    _, more, _ = ask(played, targets_file, capsys, "--sensitivity")
    rows = more.pop("sensitivity")
    assert more == answer
    assert rows[0]["assumption"] == "as they are" and len({r["assumption"] for r in rows}) == len(rows) == 6
    said = answer["proposals"][0]["targets"][0]
    assert rows[0]["then"]["value"] == pytest.approx(said["proposed"]["value"], abs=0.03)
    text = DOCS.read_text(encoding="utf-8")
    assert [key for key in rows[0] if f"`{key}`" not in text] == []
    assert cli.main(["propose", "--study", str(played), "--targets", str(targets_file), "--sensitivity"]) == exits.OK
    assert "practice helps nobody" in capsys.readouterr().out


def test_levers_are_kept_to(played, tmp_path, capsys):
    targets = tmp_path / "t.toml"
    targets.write_text(
        '[[target]]\noutcome="finish"\nwanted=0.9\n'
        '[levers]\nallowed=["start_lives"]\n[levers.range]\nstart_lives=[1, 5]\n',
        encoding="utf-8",
    )
    _, answer, _ = ask(played, targets, capsys)
    for p in answer["proposals"]:
        assert {c["tunable"] for c in p["changes"]} <= {"start_lives"}
        assert all(c["proposed"] <= 5 for c in p["changes"])


def test_a_name_that_is_no_tunable_of_the_game_is_told(played, tmp_path, capsys):
    targets = tmp_path / "t.toml"
    targets.write_text(
        '[[target]]\noutcome="finish"\nwanted=0.9\n[levers]\nallowed=["start_lives", "speed"]\n', encoding="utf-8"
    )
    (warning,) = ask(played, targets, capsys)[1]["warnings"]
    assert "'speed'" in warning and "start_lives" in warning.partition("it has:")[2]


@pytest.mark.parametrize(
    ("target", "why"),
    [
        ('outcome="finish"', "run_end"),
        ('outcome="reach_stage"\nstage=2', "stage_start"),
        ('outcome="reach_stage"\nstage=50', "stage_start"),
    ],
)
def test_what_the_game_does_not_log_is_not_predicted(target, why, tmp_path, capsys):
    study = _tiny([(n, [9.0 + n, 20.0, 31.0], None, 40.0) for n in range(1, 9)], tmp_path, ends=False)
    targets = tmp_path / "t.toml"
    targets.write_text(f"[[target]]\n{target}\nwanted=0.5\n", encoding="utf-8")
    code, answer, _ = ask(study, targets, capsys)
    assert code == exits.THIN and answer["proposals"] == []
    assert why in next(iter(answer["unanswered"].values()))


def test_a_stage_that_nobody_can_know_of_is_not_predicted(played, tmp_path, capsys):
    """The game has been finished: its last stage is known."""
    targets = tmp_path / "t.toml"
    with open_study(played, read_only=True) as study:
        last = load_staged(Reader(study.connection), Selection(GAME)).segments[-1].number
    targets.write_text(f'[[target]]\noutcome="reach_stage"\nstage={last + 1}\nwanted=0.5\n', encoding="utf-8")
    code, answer, _ = ask(played, targets, capsys)
    assert code == exits.THIN and f"stage {last} is the last" in next(iter(answer["unanswered"].values()))
    targets.write_text(f'[[target]]\noutcome="reach_stage"\nstage={last}\nwanted=0.5\n', encoding="utf-8")
    assert ask(played, targets, capsys)[0] == exits.OK


def test_a_target_that_is_met_is_left_alone(played, tmp_path, capsys):
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\noutcome="finish"\nwanted=0.5\n', encoding="utf-8")
    now = ask(played, targets, capsys)[1]["proposals"][0]["targets"][0]["now"]["value"]
    targets.write_text(f'[[target]]\noutcome="finish"\nwanted={now:.3f}\n', encoding="utf-8")
    _, answer, _ = ask(played, targets, capsys)
    assert answer["proposals"][0]["advice"] == "close_enough"
    assert "Leave it" in answer["proposals"][0]["sentence"]


def test_what_cannot_be_answered_says_why(played, tmp_path, capsys):
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\noutcome="streak"\nlength=3\nwanted=0.5\n', encoding="utf-8")
    code, answer, error = ask(played, targets, capsys)
    assert code == exits.THIN
    assert answer["proposals"] == []
    assert "trials" in next(iter(answer["unanswered"].values()))
    assert error


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--game", "Nothing"], exits.USAGE, "holds no game 'Nothing'"),
        (["--build", "9.9"], exits.USAGE, "no build '9.9'"),
    ],
)
def test_wrong_words_are_named(played, targets_file, capsys, words, code, says):
    got, _, error = ask(played, targets_file, capsys, *words)
    assert got == code
    assert says in error


def test_a_wrong_file_is_named(played, tmp_path, capsys):
    code, _, error = ask(played, tmp_path / "no.toml", capsys)
    assert code == exits.INPUT and "no.toml" in error
    (tmp_path / "bad.toml").write_text('[[target]]\noutcome="finish"\nwanted=70\n', encoding="utf-8")
    code, _, error = ask(played, tmp_path / "bad.toml", capsys)
    assert code == exits.INPUT and "70 %" in error.replace("60", "70")


def test_what_if_moves_the_way_the_game_does(played):
    """More lives and slower fire help; the map and the sliders agree with the single predictions."""
    targets = read_targets('[[target]]\noutcome="finish"\nwanted=0.5\n')
    with open_study(played, read_only=True) as study:
        fitted, why = fit_game(Reader(study.connection), Selection(GAME), targets)
    assert not why
    model = fitted[0]
    slower = {t.name: nearest(t, 1.5 * t.value) for t in model.tunables if t.role == "fire_period"}
    now = predict(model, {}, targets.targets)[0].value
    lives = next(t.value for t in model.tunables if t.role == "start_lives")
    assert predict(model, {"start_lives": lives + 2}, targets.targets)[0].value > now + 0.02
    assert predict(model, slower, targets.targets)[0].value > now + 0.02
    fire = model.tunables[2]
    grid = outcome_map(model, targets.targets[0], "start_lives", fire.name, points=5)
    i, j = grid.across.index(lives), grid.up.index(fire.value)
    assert grid.figure[i, j] == pytest.approx(now, abs=1e-6)
    assert np.all(np.diff(grid.figure[:, j]) >= -1e-9)
    assert fire.value in slider_values(fire)
    wishes = Changeable(ranges={"start_lives": (2, 4)})
    small = outcome_map(model, targets.targets[0], "start_lives", fire.name, points=5, wishes=wishes)
    assert set(small.across) == {2, 3, 4} and max(grid.across) > 4
    with pytest.raises(KeyError):
        outcome_map(model, targets.targets[0], "start_lives", fire.name, wishes=Changeable(frozen=(fire.name,)))
    rows = sensitivity(model, slower, targets.targets)
    assert rows[0].then.value == pytest.approx(predict(model, slower, targets.targets)[0].value, abs=0.03)
    narrow, wide = rows[1].then, rows[2].then
    assert wide.high80 - wide.low80 > narrow.high80 - narrow.low80
    with pytest.raises(KeyError):
        predict(model, {"gravity": 1}, targets.targets)


def test_rules_narrowest_scope_and_refill_on_a_new_stage():
    tunables = (
        Tunable("lives", "start_lives", 4, 1, 9, 1),
        Tunable("refill", "lives_refill", 1, 0, 2, 1),
        Tunable("refill_3", "lives_refill", 2, 0, 2, 1, stage=3),
        Tunable("fire", "fire_period", 800, 100, 2000, 10, "ms"),
        Tunable("fire_boss", "fire_period", 400, 100, 2000, 10, "ms", stage_kind=1),
        Tunable("fire_boss_2", "fire_period", 200, 100, 2000, 10, "ms", stage=2, stage_kind=1),
    )
    segments = [Segment(1), Segment(1, 1), Segment(2), Segment(2, 1), Segment(3)]
    found = rules(tunables, segments, {})
    assert found.refill.tolist() == [0, 0, 1, 0, 2]
    rate = found.doses[TunableRole.FIRE_PERIOD]
    ratio = np.exp(rate - rate[0])
    assert ratio == pytest.approx([1, 2, 1, 4, 1])
    slower = rules(tunables, segments, {"fire_boss": 800}).doses[TunableRole.FIRE_PERIOD]
    assert np.exp(slower - rate) == pytest.approx([1, 0.5, 1, 1, 1])


def test_nearest_and_size_of_a_change():
    fire = Tunable("fire", "fire_period", 800, 105, 2000, 20, "ms")
    assert nearest(fire, 811) == 805
    assert nearest(fire, 9_999) == 1985
    assert nearest(fire, 700, (790, 800)) == 800
    assert change_size([fire], {"fire": 800}) == 0
    assert change_size([fire], {"fire": 400}) == pytest.approx(math.log(2) + 0.05)


def _tiny(runs, tmp_path, ends=True):
    """A study of a game without stages; each run: (player, [seconds of deaths], ending, end second).

    `ends`: it can log them.
    """
    kinds = [
        {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
        {"name": "fell", "role": "death", "fields": []},
        {"name": "end", "role": "run_end", "fields": [{"name": "how", "type": "u8", "role": "ending"}]},
    ]
    if not ends:
        del kinds[2]
    tunables = [
        {"name": "lives", "role": "start_lives", "value": 2, "min": 1, "max": 5},
        {"name": "fire", "role": "fire_period", "value": 600, "min": 100, "max": 2000, "step": 20, "unit": "ms"},
    ]
    head = {
        "game": "Moth Run",
        "firmware": "1",
        "clock": 1000,
        "screen": [160, 128],
        "kinds": kinds,
        "tunables": tunables,
    }
    lines, start = [json.dumps({"dictionary": head})], 1.0
    for player, deaths, how, end in runs:
        lines.append(json.dumps({"t": int(start * 1000), "kind": "begin", "who": player}))
        lines += [json.dumps({"t": int((start + s) * 1000), "kind": "fell"}) for s in deaths]
        if how is not None:
            lines.append(json.dumps({"t": int((start + end) * 1000), "kind": "end", "how": how}))
        start += end + 2
    log = tmp_path / "tiny.playlog"
    log.write_bytes(b"".join(encode_lines(lines)))
    with open_study(tmp_path / "tiny.duckdb") as study:
        import_log(study, log)
    return tmp_path / "tiny.duckdb"


@pytest.mark.parametrize(
    "runs",
    [
        [(1, [20.0, 30.0], 1, 30.0)],
        [(1, [], 0, 60.0)],
        [(n, [], 0, 60.0) for n in range(1, 9)],
        [(n, [0.05, 0.1], 1, 0.1) for n in range(1, 9)],
        [(n, [], None, 40.0) for n in range(1, 4)],
        [(n, [10.0], 2, 12.0) for n in range(1, 6)],
    ],
    ids=["one player", "one run, finished", "nobody died", "everybody at once", "all cut", "all quit"],
)
def test_thin_data_get_a_sensible_answer(runs, tmp_path, capsys):
    """Never NaN or infinity, never a change on the strength of next to nothing."""
    study = _tiny(runs, tmp_path)
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\noutcome="survive"\nseconds=45\nwanted=0.5\n', encoding="utf-8")
    code, answer, _ = ask(study, targets, capsys)
    assert code in (exits.OK, exits.THIN)
    assert "NaN" not in json.dumps(answer)
    if len(runs) == 1:
        assert any("indicative" in w for p in answer["proposals"] for w in p["warnings"])


def test_surviving_seconds_agrees_with_kaplan_meier_in_a_game_without_stages(tmp_path):
    """Exponential lives, one life: the predicted share alive at 45 s is near the share seen."""
    rng = np.random.default_rng(2)
    ends = rng.exponential(60, 60)
    runs = [(n % 20 + 1, [float(e), float(e) + 0.5], 1, float(e) + 0.5) for n, e in enumerate(ends)]
    study = _tiny(runs, tmp_path)
    targets = read_targets('[[target]]\noutcome="survive"\nseconds=45\nwanted=0.5\npopulation="attempt"\nattempt=2\n')
    with open_study(study, read_only=True) as opened:
        reader = Reader(opened.connection)
        data = load_staged(reader, Selection("Moth Run"))
        answer = propose_game(reader, Selection("Moth Run"), targets)
    assert data.segments == (Segment(1),)
    seen = float((ends > 45).mean())
    said = answer.proposals[0].targets[0].now
    assert said.low95 <= seen <= said.high95


@pytest.mark.parametrize(("attempts", "said"), [(1, True), (3, False)])
def test_with_one_run_a_player_it_says_that_a_third_attempt_is_said_too_high(played, attempts, said):
    """Twelve players with three runs each; only the first, or all of them, are looked at."""
    with open_study(played, read_only=True) as study:
        targets = read_targets('[[target]]\noutcome = "finish"\nwanted = 0.57\n')
        chosen = Selection(GAME, last_attempt=attempts)
        (best, *_) = propose_game(Reader(study.connection), chosen, targets).proposals
    assert best.runs == 12 or not said
    assert any("third attempt" in warning and "too high" in warning for warning in best.warnings) == said
