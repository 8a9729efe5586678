"""Who was new to the game, and of whom nothing is known."""

import pytest

from analysis.selection import Selection
from dashboard.report.argument import newcomers
from tests.analysis import playtest
from tests.analysis.playtest import GAME, KINDS, Playtest, reader_of


@pytest.mark.parametrize(
    ("told", "new", "words"),
    [(0, 0, ["not known"]), (5, 2, ["2 players had never", "of 3 it is not known"]), (8, 0, ["0 players had never"])],
)
def test_of_whom_nothing_is_known_is_not_said_to_have_played_before(told, new, words):
    said = newcomers({"players": 8, "told_players": told, "new_players": new})
    assert all(word in said for word in words) and ("not known" in said) == (told < 8)
    assert ("never" in said) == (told > 0)


@pytest.mark.parametrize("logged", [True, False])
def test_who_is_told_to_be_new_is_counted(logged, tmp_path, monkeypatch):
    begin = KINDS[0] | {"fields": [one for one in KINDS[0]["fields"] if logged or one["name"] != "new"]}
    monkeypatch.setattr(playtest, "KINDS", [begin, *KINDS[1:]])
    test = Playtest()
    for who in (1, 2, 3):
        test.run(who, [2.0], sampled=False, **({"new": int(who == 1)} if logged else {}))
    with test.study(tmp_path) as study:
        people = reader_of(study).ask_chosen("chosen_people", Selection(GAME))
    counts = [int(people[name][0]) for name in ("players", "told_players", "new_players")]
    assert counts == ([3, 3, 1] if logged else [3, 0, 0])
