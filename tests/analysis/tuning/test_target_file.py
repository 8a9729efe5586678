"""The targets file: what TARGETS.md shows can be read, and what is wrong is named."""

import re
from pathlib import Path

import pytest

from analysis.models.targets import Aim, Outcome, Population, Statistic, Target
from analysis.tuning.target_file import BadTargets, read_targets

DOCS = Path(__file__).parents[3] / "analysis" / "tuning" / "TARGETS.md"


def test_every_example_of_the_document_can_be_read():
    examples = re.findall(r"```toml\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.S)
    assert len(examples) >= 2
    seen = {target.outcome for text in examples for target in read_targets(text).targets}
    assert seen == set(Outcome)


def test_the_document_names_every_word():
    text = DOCS.read_text(encoding="utf-8")
    for words in (Outcome, Population, Aim, Statistic):
        for word in words:
            assert f"`{word}`" in text, word


def test_a_share_may_be_written_as_a_percentage():
    first, second = read_targets(
        '[[target]]\noutcome="reach_stage"\nstage=2\nwanted="60 %"\n'
        '[[target]]\noutcome="finish"\nwanted=0.25\ntolerance="10 %"\nweight=2\n'
    ).targets
    assert (first.wanted, first.tolerance, first.number, first.population) == (0.6, 0.05, 2, "first_attempt")
    assert (second.tolerance, second.weight) == (0.1, 2.0)


def test_a_miss_depends_on_the_aim():
    def target(aim: Aim) -> Target:
        return Target("t", Outcome.FINISH, wanted=0.5, tolerance=0.05, aim=aim)

    assert target(Aim.ABOUT).miss(0.4) == pytest.approx(0.1)
    assert target(Aim.AT_LEAST).miss(0.4) == pytest.approx(0.1)
    assert target(Aim.AT_LEAST).miss(0.6) == 0
    assert target(Aim.AT_MOST).miss(0.6) == pytest.approx(0.1)


def test_levers_narrow_what_may_be_changed():
    levers = read_targets(
        '[[target]]\noutcome="finish"\nwanted=0.3\n[levers]\nallowed=["fire_period"]\nfrozen=["fire_boss"]\n'
        "[levers.range]\nfire_period=[300, 900]\n"
    ).changeable
    assert levers.allows("fire_stage_1", "fire_period")
    assert not levers.allows("fire_boss", "fire_period")
    assert not levers.allows("lives", "start_lives")
    assert levers.range("fire_stage_1", "fire_period", 100, 800) == (300, 800)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("wanted = 0.6 0.7", "not TOML.*line 1"),
        ("", "no target"),
        ('[[target]]\noutcome="finish"', "'wanted' is missing"),
        ('[[target]]\noutcome="finsh"\nwanted=0.5', "'outcome' must be one of"),
        ('[[target]]\noutcome="finish"\nwanted=60', 'write 0.6 or "60 %"'),
        ('[[target]]\noutcome="reach_stage"\nwanted=0.6', "needs 'stage"),
        ('[[target]]\noutcome="finish"\nstage=2\nwanted=0.6', "'stage' does not belong"),
        ('[[target]]\noutcome="finish"\nwanted=0.6\ntolerence=0.1', "unknown word 'tolerence'"),
        ('[[target]]\noutcome="finish"\nwanted=0.6\nattempt=2', "population"),
        ('[[target]]\noutcome="finish"\nwanted=nan', "must be a number"),
        ('[[target]]\noutcome="hit_share"\nwanted=0.6\nquantile=25', "between 0 and 1"),
        ('[[target]]\nname="a"\noutcome="finish"\nwanted=0.6\n' * 2, "two targets are named 'a'"),
        ('[[target]]\noutcome="finish"\nwanted=0.6\n[levers.range]\nlives=[5,2]', "lowest, highest"),
    ],
)
def test_what_is_wrong_is_named(text, says):
    with pytest.raises(BadTargets, match=says):
        read_targets(text)
