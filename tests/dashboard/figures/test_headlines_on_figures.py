"""What a headline says can be read off its figure: its numbers, and the parts of the game that it names."""

import base64
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from analysis.finding import Finding
from analysis.selection import Selection
from dashboard.figures import figure_for
from dashboard.figures.palette import LIGHT
from dashboard.pages import PAGES
from dashboard.state.dashboard_session import Session
from ingest.study.store import import_log, open_study
from tests.dashboard.conftest import DEMO

GAMES = ("Soot Wardens", "Tin Drizzle", "One Puff", "Crate Loft")
PART = re.compile(r"stage \d+(?: boss)?", re.IGNORECASE)
NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
# How often one thing is as often as another: a figure of rates shows both sides of it, and not the ratio itself.
COMPARED = re.compile(r"[\d.,]+ times as often|[\d.,]+ % (?:more|less) often")
# What was lost on the way is counted in events and runs; its figure shows where in each log.
COUNTED = {"trust.verdict"}


@pytest.fixture(scope="module")
def session(tmp_path_factory) -> Iterator[Session]:
    study = open_study(tmp_path_factory.mktemp("all") / "all.duckdb")
    for log in sorted(DEMO.glob("*.playlog")):
        import_log(study, log)
    session = Session(study)
    yield session
    session.close()


def filters(session: Session, game: str) -> list[Selection]:
    newest = session.of_game(game)
    return [newest, newest.of_every_build(), Selection(game, stage=1), Selection(game, players=("P06",))]


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict) and "bdata" in value:
        yield from np.frombuffer(base64.b64decode(value["bdata"]), value["dtype"]).tolist()
    elif isinstance(value, dict):
        for one in value.values():
            yield from leaves(one)
    elif isinstance(value, list | tuple | np.ndarray):
        for one in value:
            yield from leaves(one)
    else:
        yield value


def shown(finding: Finding) -> tuple[np.ndarray, str] | None:
    """(numbers, words) that the figure of a finding draws or writes; None without a figure."""
    figure = figure_for(finding, LIGHT)
    if figure is None:
        return None
    drawn = figure.to_dict()
    seen = [{k: v for k, v in trace.items() if k in ("x", "y", "z", "name", "text")} for trace in drawn["data"]]
    found = list(leaves([seen, [one.get("text") for one in drawn["layout"].get("annotations", ())]]))
    found += list(
        leaves([[one.get(k) for k in ("path", "x0", "x1", "y0", "y1")] for one in drawn["layout"].get("shapes", ())])
    )
    text = " ".join(one for one in found if isinstance(one, str))
    numbers = [float(one) for one in found if isinstance(one, int | float) and np.isfinite(one)]
    return np.array(numbers + [float(one.replace(",", "")) for one in NUMBER.findall(text)]), text


@pytest.mark.parametrize("game", GAMES)
def test_what_a_headline_says_is_on_its_figure(session, game):
    held = 0
    for selection in filters(session, game):
        for finding in session.all_findings(selection):
            assert len(finding.headline) <= 90, "two lines on a page at most, one where there is room"
            drawn = shown(finding) if finding.headline and finding.id not in COUNTED else None
            if drawn is None:
                continue
            numbers, text = drawn
            for name in PART.findall(finding.headline):
                assert name.lower() in text.lower(), (finding.id, finding.headline)
            for word in NUMBER.findall(PART.sub("", COMPARED.sub("", finding.headline))):
                half = 0.5 * 10.0 ** -len(word.partition(".")[2])
                near = np.abs(np.abs(numbers) - float(word.replace(",", ""))) <= half + 1e-9
                assert near.any(), (finding.id, finding.headline, word)
            held += 1
    assert held >= 8


def test_the_deadliest_part_has_the_highest_rate_of_its_figure(session):
    for selection in filters(session, "Soot Wardens"):
        for finding in session.findings("deaths", selection):
            if finding.id == "deaths.by_stage" and finding.headline and not finding.doubtful:
                (points,) = figure_for(finding, LIGHT).data
                named = PART.search(finding.headline).group().lower()
                assert points.y[int(np.nanargmax(points.x))].lower() == named


def test_a_page_says_so_where_a_chosen_stage_makes_no_difference(session):
    every, stage = Selection("Soot Wardens"), Selection("Soot Wardens", stage=1)

    def said(question, selection):
        return [(one.key, one.sentence) for one in session.findings(question, selection)]

    for page in PAGES:
        if page.question is None or page.question not in session.asked_of("Soot Wardens"):
            continue
        same = said(page.question, every) == said(page.question, stage)
        assert same == bool(page.unheeded(stage)), page.path
        assert page.unheeded(every) == []
    first = Selection("Soot Wardens", first_attempt=1, last_attempt=1)
    progress = next(page for page in PAGES if page.question == "progress")
    assert said("progress", every) == said("progress", first) and len(progress.unheeded(first)) == 1
