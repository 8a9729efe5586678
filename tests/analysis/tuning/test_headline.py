"""A proposal in people's words: each word is held against the figures that it is made from."""

from dataclasses import replace

import pytest

from analysis.answers.answer import table_text
from analysis.levers import LEVERS
from analysis.models.targets import Changeable, Target
from analysis.tuning.headline import audience, certainty, expected, headline, part_of, people, to_do
from analysis.tuning.proposal import Advice, Change
from analysis.tuning.ranking import propose
from analysis.tuning.target_file import read_targets
from analysis.words import percent
from ingest.vocabulary import Recruitment, TunableRole
from tests.analysis.tuning.line_game import Line, wish


def change(tunable: str, now: int, proposed: int, role: str | None = None, unit: str = "ms") -> Change:
    return Change(tunable, role, now, proposed, unit, 0, 1000, 1)


@pytest.mark.parametrize(
    "share, said",
    [(0.75, "three of four"), (0.5, "half"), (0.61, "three of five"), (0.9, "nine of ten"), (0.55, "55 %")],
)
def test_a_share_is_said_as_people_where_that_is_near(share, said):
    assert people(share) == said


def test_a_part_has_its_name_only_when_it_is_near():
    assert [part_of(r) for r in (1.34, 0.66, 1.5, 1.2, 0.9, 1.6)] == [
        "a third",
        "a third",
        "half",
        "a fifth",
        "a tenth",
        "60 %",
    ]


def test_each_role_is_said_in_its_own_words():
    fire = [change(f"fire_period_{n}", 300, 450, "fire_period") for n in ("climb_1", "boss_2")]
    assert to_do(fire) == "Let enemies fire a third less often"  # 300 / 450 of the rate
    assert to_do(fire[1:]).endswith("less often (boss 2)")
    sides = [change(f"window_{side}_loose", 50, 141, f"window_{side}", "ms") for side in ("early", "late")]
    assert to_do(sides) == "Count presses up to 141 ms early or late (loose)"
    apart = [sides[0], change("window_late", 50, 90, "window_late", "ms")]
    assert to_do(apart) == "Count presses up to 141 ms early (loose) and count presses up to 90 ms late"
    upgrades = change("pickup_rate", 18, 83, "pickup_rate", "percent")
    assert to_do([upgrades]) == "Let upgrades appear 4.6 times as often"  # 83 / 18 = 4.61
    lives = change("start_lives", 3, 5, "start_lives", "lives")
    assert to_do([lives, *fire]) == "Give five lives and let enemies fire a third less often"
    assert to_do([change("start_lives", 3, 2, "start_lives", "lives")]) == "Give only two lives"
    assert (
        to_do([change("drop_interval_5", 500, 400, "drop_interval")])
        == "Let blocks fall a quarter faster (drop interval 5)"
    )
    assert to_do([change("wind", 3, 4)]) == "Set wind to 4"


def test_every_lever_has_words_for_both_directions():
    for role, lever in LEVERS.items():
        said = {
            to_do([change(str(role), now, then, str(TunableRole(role)), "ms")])
            for now, then in ((1, 0), (0, 1), (2, 1), (1, 2))
        }
        assert len(said) >= 3 or not lever.by_ratio, role
        assert any(not one.startswith("Set ") for one in said), role


def proposed(level: float, people: int = 12, **more):
    targets = [wish(0.5)]
    return propose(
        Line(level=level, people=people, **more), targets, Changeable(), "Line", Recruitment.AUDIENCE
    ), targets


def test_the_headline_says_the_figures_of_the_proposal():
    (first, *_), targets = proposed(-2.5)
    assert first.advice == Advice.CHANGE
    said = headline(first, targets)
    assert said.startswith(to_do(first.changes))
    assert people(first.targets[0].proposed.value) in expected(first, targets).lower()
    assert percent(first.chance_better) in certainty(first) and certainty(first).startswith("Likely")
    assert audience(first, targets)


def test_what_is_not_recommended_is_never_said_as_a_change():
    (few, *_), targets = proposed(-2.5, people=3)
    assert few.advice == Advice.NOT_YET and headline(few, targets).startswith("Not yet.")
    assert certainty(few).startswith("Perhaps")
    (near, *_), targets = proposed(0.05, doubt=0.4)
    assert headline(near, targets).startswith("Leave it")


def test_each_way_has_its_own_figures_and_the_proposal_is_one_of_them():
    (first, *_), _ = proposed(-2.5)
    way = next(one for one in first.ways if one.id == first.id)
    assert way.changes == first.changes and len(way.knobs) >= 1
    assert [t.proposed for t in way.targets] == [t.proposed for t in first.targets]
    assert len({len(one.knobs) for one in first.ways}) == len(first.ways)
    assert first.advice == Advice.CHANGE and way.sure
    (few, *_), _ = proposed(-2.5, people=3)
    assert not any(one.sure for one in few.ways)


def test_a_quantile_is_said_of_those_who_do_as_well():
    text = (
        '[[target]]\noutcome = "hit_share"\npopulation = "new_players"\nstatistic = "lower_quarter"\nwanted = "75 %"\n'
    )
    (target,) = read_targets(text).targets
    assert isinstance(target, Target) and target.quantile == 0.25
    (first, *_), _ = proposed(-2.5)
    one = replace(first.targets[0], target=target.name)
    said = expected(replace(first, targets=(one,)), [target])
    assert said.startswith("Three of four players should then hit at least")


def test_a_table_keeps_to_the_width_of_the_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    head, rows = ["", "wanted", "today"], [["a long name of a target that a designer wrote down " * 2, "75 %", "33 %"]]
    lines = table_text(head, rows)
    assert max(map(len, lines)) <= 60 and len(lines) > 2
    assert lines[-1].endswith("75 %   33 %")


@pytest.mark.parametrize("testers", list(Recruitment))
def test_it_is_said_of_whom_the_figures_speak(testers):
    """Only where the testers were drawn from the audience are the figures those of people like them."""
    targets = [wish(0.5)]
    (first, *_) = propose(Line(level=-2.5, people=12), targets, Changeable(), "Line", testers)
    whose, other = audience(first, targets).split("; ")
    like, worse, _ = first.audiences
    if testers == Recruitment.AUDIENCE:
        assert whose == like.audience and other.startswith(f"{worse.audience}: {percent(worse.proposed[0])} ")
    else:
        assert "does worse than these 12 people" in whose and f"as {testers}".replace("unknown", "friends") in whose
        assert other.startswith(f"if it plays like them: {percent(like.proposed[0])} ")
        assert like.proposed[0] != pytest.approx(first.targets[0].proposed.value, abs=0.005)
