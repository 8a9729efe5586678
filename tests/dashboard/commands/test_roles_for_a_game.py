"""The recorder's table of roles for a game: what each row says can be answered, `setscrew check` finds so too."""

import json
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from analysis.answers.checked import Can, GameChecked
from analysis.models.targets import Outcome
from dashboard.commands.check_command import checked
from ingest.encode import encode_lines
from tests.recorder.native import RECORDER

PAGE = (RECORDER / "README.md").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Row:
    """A row of the table: kinds with the roles of their fields, roles of tunables, and what is promised."""

    kinds: dict[str, list[str]]
    tunables: list[str]
    questions: list[str]
    outcomes: list[str]


def rows() -> dict[str, Row]:
    """The rows by the words for the game."""
    [section] = re.findall(r"^## Roles for your game\n(.*?)^## ", PAGE, re.MULTILINE | re.DOTALL)
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in re.findall(r"^\|.*\|$", section, re.M)]
    found = {}
    for game, events, tunables, answered in cells[2:]:
        words = [re.findall(r"`(\w+)`", event) for event in events.split("·")]
        questions, _, outcomes = answered.partition("Targets:")
        found[game] = Row(
            {kind: fields for kind, *fields in words},
            re.findall(r"`(\w+)`", tunables),
            [question.strip() for question in re.findall(r"[^?]+\?", questions)],
            re.findall(r"`(\w+)`", outcomes),
        )
    return found


ROWS = rows()
GAMES = [game for game in ROWS if game != "any"]


def of_a_log(kinds: dict[str, list[str]], tunables: list[str], folder: Path) -> GameChecked:
    """What `setscrew check` says of a log of two runs in which each event came once, with these roles and no others."""
    order = ["run_start", *(kind for kind in kinds if kind not in ("run_start", "run_end")), "run_end"]
    declared = {
        "game": "Moth Run",
        "firmware": "1",
        "clock": 1000,
        "screen": [160, 128],
        "kinds": [
            {"name": kind, "role": kind, "fields": [{"name": f, "type": "i16", "role": f} for f in kinds[kind]]}
            for kind in order
        ],
        "tunables": [
            {"name": role, "role": role, "value": 1, "min": 0, "max": 9, "step": 1, "unit": unit_of(role)}
            for role in tunables
        ],
    }
    played = [
        {"t": 1000 * (1 + run * len(order) + n), "kind": kind, **dict.fromkeys(kinds[kind], 1)}
        for run in range(2)
        for n, kind in enumerate(order)
    ]
    log = folder / f"{len(kinds)}_{len(tunables)}.playlog"
    log.write_bytes(b"".join(encode_lines(map(json.dumps, [{"dictionary": declared}, *played]))))
    [game] = checked([log]).games
    return game


def unit_of(role: str) -> str:
    """A unit that a tunable of the role may have (FORMAT.md, section 6)."""
    in_time = role.startswith("window") or role in ("fire_period", "drop_interval", "input_offset")
    return "ms" if in_time else "lives" if role == "start_lives" else "percent"


def test_the_table_has_the_kinds_of_games_and_promises_something_of_each():
    assert GAMES == ["stages, bosses", "falling blocks", "one shot at a target", "rhythm"]
    assert ROWS["any"].questions
    for row in [ROWS[game] for game in GAMES]:
        assert row.questions and row.outcomes
        assert set(row.outcomes) <= set(map(str, Outcome))


@pytest.mark.parametrize("game", GAMES)
def test_what_a_row_promises_can_be_answered_with_its_roles_and_worse_without(game, tmp_path):
    common, row = ROWS["any"], ROWS[game]
    alone = of_a_log(common.kinds, [], tmp_path)
    found = of_a_log(common.kinds | row.kinds, row.tunables, tmp_path)
    before = {line.name: line.can for line in alone.questions}
    now = {line.name: line.can for line in found.questions}
    assert {name: before[name] for name in common.questions} == {
        common.questions[0]: Can.YES,
        common.questions[1]: Can.IN_PART,  # but for ratings
    }
    best_first = list(Can)
    for question in row.questions:
        assert now[question] in (Can.YES, Can.IN_PART), question
        assert best_first.index(now[question]) < best_first.index(before[question]), question
    assert [line.can for line in found.tunables] == [Can.YES] * len(row.tunables)
