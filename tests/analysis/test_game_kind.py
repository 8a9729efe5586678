"""What kind of game it is follows from what its logs hold; a role that contradicts them is told, and not followed."""

import json

import pytest

from analysis.findings import deaths, games, trust
from analysis.game_kind import Held, Part, kind_of
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_answer import propose_game
from dashboard import cli
from dashboard.command_line import exits
from ingest.said.notes import note_role, take_back
from ingest.study.store import import_log
from tests.analysis.playtest import GAME, Playtest, reader_of

ALL = Selection(GAME)
FIRE = {"name": "fire_ms", "role": "fire_period", "value": 800, "min": 200, "max": 2000, "step": 50, "unit": "ms"}
FALL = {"name": "fall_ms", "role": "drop_interval", "value": 300, "min": 100, "max": 900, "step": 50, "unit": "ms"}
LIVES = {"name": "lives", "role": "start_lives", "value": 3, "min": 1, "max": 9}
SHOOTER = ("begin", "over", "enter", "leave", "alive", "died", "at", "fire")
TARGETS = """
[[target]]
outcome = "survive"
seconds = 20
wanted = "60 %"
[[target]]
outcome = "reach_stage"
stage = 2
wanted = "60 %"
"""


def staged_shooter() -> Playtest:
    """Eight players, two runs each, three lives; two stages; enemies fire."""
    test = Playtest()
    for who in range(1, 9):
        for attempt in range(2):
            test.event("begin", 1000, who=who, left=3)
            for stage in range(1, 3):
                test.event("enter", 10, stage=stage, left=3)
                for _ in range(6):
                    test.event("fire", 800, x=80, y=0, aim=1)
                if (who + attempt + stage) % 3:
                    test.event("died", 500 + 100 * who, x=80, y=60, why=1, left=2, age=400)
                    test.event("alive", 300, left=2)
                test.event("leave", 3000, done=1)
            test.event("over", 10, how=0)
    return test


def test_one_word_of_role_does_not_turn_a_staged_game_into_falling_blocks(tmp_path):
    """The falling things of a shooter with the role `drop_interval`, and the same log with no role there."""
    answers = []
    for role in ("drop_interval", None):
        folder = tmp_path / str(role)
        folder.mkdir()
        with staged_shooter().study(folder, SHOOTER, [LIVES, FIRE, FALL | {"role": role}]) as study:
            reader = reader_of(study)
            data = load_staged(reader, ALL)
            assert [(s.number, s.is_level) for s in data.segments] == [(1, False), (2, False)]
            answers.append(propose_game(reader, ALL, read_targets(TARGETS)))
            told = [finding.id for finding in trust.find(reader, ALL)]
            assert ("trust.roles" in told) == (role is not None)
            assert "genres.levels" not in {finding.id for finding in games.find(reader, ALL)}
    wrong, right = answers
    assert wrong.unanswered == right.unanswered == {}
    assert [p.changes for p in wrong.proposals] == [p.changes for p in right.proposals]
    assert [p.targets for p in wrong.proposals] == [p.targets for p in right.proposals]
    assert not right.warnings and len(wrong.warnings) == 1
    assert "`fall_ms`" in wrong.warnings[0] and "`drop_interval`" in wrong.warnings[0]


def test_it_is_told_at_ingest(tmp_path, capsys):
    staged_shooter().study(tmp_path, SHOOTER, [LIVES, FIRE, FALL]).close()
    log = str(tmp_path / "test.playlog")
    assert cli.main(["ingest", "--study", str(tmp_path / "s.duckdb"), log]) == exits.OK
    told = capsys.readouterr().err
    assert "`fall_ms`" in told and "setscrew roles" in told
    assert cli.main(["ingest", "--study", str(tmp_path / "s.duckdb"), log, "--json"]) == exits.OK
    odd = json.loads(capsys.readouterr().out)["roles"]
    assert [(one["game"], one["what"], one["name"], one["role"]) for one in odd] == [
        (GAME, "tunable", "fall_ms", "drop_interval")
    ]


S, B = frozenset({"enemy_shot", "pickup"}), frozenset({"piece", "landed", "rows"})


@pytest.mark.parametrize(
    ("seen", "tunables", "stages", "levels", "by_level", "odd"),
    [
        # Whole games of each kind, with their own words, with those of another, and without any.
        (B, {}, 1, 5, True, set()),
        (B, {"a": "drop_interval"}, 1, 5, True, set()),
        (B, {"a": "fire_period"}, 1, 5, True, {"fire_period"}),
        (S, {}, 4, 0, False, set()),
        (S, {"a": "fire_period"}, 4, 0, False, set()),
        (S, {"a": "drop_interval"}, 4, 0, False, {"drop_interval"}),
        (S, {"a": "drop_interval", "b": "fire_period"}, 1, 0, False, {"drop_interval"}),
        # Players of a shooter may have levels, and a pile something to pick up.
        (S, {"a": "drop_interval"}, 1, 7, False, {"drop_interval"}),
        (B | {"pickup"}, {"a": "drop_interval"}, 1, 5, True, set()),
        # One role of an event alone.
        (S | {"piece"}, {}, 4, 0, False, {"piece"}),
        (frozenset({"rows"}), {}, 4, 0, False, {"rows"}),
        (B | {"enemy_shot"}, {}, 1, 5, True, {"enemy_shot"}),
        # Hardly anything is logged: a stage, or levels, or neither.
        (frozenset(), {"a": "drop_interval", "b": "fire_period"}, 3, 0, False, {"drop_interval"}),
        (frozenset(), {"a": "drop_interval"}, 1, 6, True, set()),
        (frozenset(), {"a": "fire_period"}, 1, 6, False, set()),
        (frozenset(), {}, 1, 6, True, set()),
        (frozenset(), {"a": "fire_period", "b": "drop_interval"}, 1, 0, False, set()),
        # Falling blocks that log each level as a stage too.
        (B, {"a": "drop_interval"}, 5, 5, True, set()),
        (frozenset({"piece"}), {"a": "drop_interval"}, 5, 5, True, set()),
        # Other kinds of games.
        (frozenset({"trial"}), {"a": "target_speed"}, 1, 0, False, set()),
        (frozenset({"trial"}), {"a": "window_late"}, 1, 0, False, {"window_late"}),
        (frozenset({"note", "verdict"}), {"a": "window_late", "b": "target_speed"}, 3, 0, False, {"target_speed"}),
    ],
)
def test_what_is_seen_goes_before_words(seen, tunables, stages, levels, by_level, odd):
    kind = kind_of(Held(seen, seen, tunables, stages, levels), {"piece": "rock"})
    assert kind.by_level == by_level
    assert {one.role for one in kind.contradictions} == odd
    assert all(f"`{one.role}`" in str(one) for one in kind.contradictions)


def test_no_single_word_decides_where_the_logs_speak():
    """Any one role added to a whole game, or taken out of it, leaves it the game that it is."""
    games = [(B, 1, 5, True), (B, 5, 5, True), (S, 4, 0, False), (S, 1, 0, False), (S, 4, 6, False)]
    words = ("fire_period", "drop_interval", "aimed_share", "target_speed", "window_late", "start_lives")
    for seen, stages, levels, by_level in games:
        for word in (None, *words):
            tunables = {"a": word} if word else {}
            assert kind_of(Held(seen, seen, tunables, stages, levels)).by_level == by_level, (seen, word)
        for role in (*S, *B, "trial", "note"):
            changed = kind_of(Held(seen | {role}, seen | {role}, {}, stages, levels))
            assert changed.by_level == by_level, (seen, role)
            assert (Part.BLOCKS in changed.parts) == by_level


@pytest.mark.parametrize(
    ("target", "remedy"),
    [
        ('outcome = "level_reached"', "reach_stage"),
        ('outcome = "streak"\nlength = 3', "trial"),
        ('outcome = "hit_share"', "press"),
        ('outcome = "hit_share"\nsong = 4', "song 4"),
        ('outcome = "reach_stage"\nstage = 40', "scope"),
    ],
)
def test_what_cannot_be_answered_names_the_reason_and_the_remedy(target, remedy, tmp_path):
    with staged_shooter().study(tmp_path, SHOOTER, [LIVES, FIRE]) as study:
        answer = propose_game(reader_of(study), ALL, read_targets(f"[[target]]\n{target}\nwanted = 0.5"))
    (reason,) = answer.unanswered.values()
    assert remedy in reason and ": " in reason


def test_a_corrected_role_is_followed_by_findings_and_proposals(tmp_path):
    """The wrong word taken away is as if it had never been there; until the logs are read again every finding warns."""
    with staged_shooter().study(tmp_path, SHOOTER, [LIVES, FIRE, FALL]) as study:
        reader = reader_of(study)
        told = reader.fingerprint()
        moment = note_role(study.connection, GAME, "tunable", "fall_ms", None)
        assert reader.fingerprint() != told
        assert not propose_game(reader, ALL, read_targets(TARGETS)).warnings
        (roles,) = (finding for finding in trust.find(reader, ALL) if finding.id == "trust.roles")
        assert list(roles.tables["corrected"]["name"]) == ["fall_ms"] and not roles.warnings
        take_back(study.connection, "role_notes", moment)
        assert reader.fingerprint() == told

        # Deaths that are none: the runs follow when their log has been read again.
        before = deaths.find(reader, ALL)[0]
        note_role(study.connection, GAME, "kind", "died", None)
        for finding in (deaths.find(reader, ALL)[0], *trust.find(reader, ALL)):
            if finding.id in (before.id, "trust.roles"):
                assert any("corrected" in warning for warning in finding.warnings)
        assert any("test.playlog" in one for one in propose_game(reader, ALL, read_targets(TARGETS)).warnings)
        import_log(study, tmp_path / "test.playlog")
        after = deaths.find(reader, ALL)[0]
        assert "no event of this game has the role `death`" in after.sentence.lower()
        assert not any("corrected" in warning for warning in after.warnings)
