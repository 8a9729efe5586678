"""What the report argues: figures fit what was asked, captions explain, references lead somewhere, gaps are said."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from analysis.levers import Part
from analysis.models.targets import Outcome, Target
from analysis.selection import Selection
from analysis.words import percent
from dashboard.figures import FIGURES
from dashboard.report.argument import predictions, sections
from dashboard.report.captions import CAPTIONS
from dashboard.report.content import About, gather
from dashboard.report.document_blocks import Figure, Ref, Say, Table, Tone, flat, numbered
from dashboard.report.evidence import MOST, chosen
from dashboard.report.latex import as_document
from dashboard.report.places_to_write import PLACES
from dashboard.report.writing import write_report

SHOOTER, RHYTHM = "Soot Wardens", "Tin Drizzle"
TARGET = """
game = "Soot Wardens"
[[target]]
name = "half see stage 2"
outcome = "reach_stage"
stage = 2
wanted = "50 %"
"""


@pytest.fixture(scope="module")
def asked(read_session):
    return gather(read_session, [Selection(SHOOTER)], About(), "2020-01-02", None, TARGET)


def said(found, heading):
    """All text of one section."""
    (section,) = (one for one in found if one.heading == heading)
    return " ".join(
        f"{block.lead} {''.join(piece for piece in block.pieces if isinstance(piece, str))}"
        for block in flat(section.blocks)
        if isinstance(block, Say)
    )


def test_every_figure_has_a_caption_that_explains_it():
    assert set(CAPTIONS) >= set(FIGURES)
    for name, words in CAPTIONS.items():
        assert words.shows and words.read, name
        assert not words.band or "%" in words.band, name


def test_the_evidence_fits_the_target(read_session):
    shooter = read_session.all_findings(Selection(SHOOTER))
    rhythm = read_session.all_findings(Selection(RHYTHM))
    reach, hits = (Target("t", outcome, 0.5, 0.05) for outcome in (Outcome.REACH_STAGE, Outcome.HIT_SHARE))
    survive = replace(reach, outcome=Outcome.SURVIVE)
    assert [one.id for one in chosen(shooter, [reach], frozenset())][:2] == ["survival.funnel", "deaths.by_stage"]
    assert chosen(shooter, [survive], frozenset())[0].id == "survival.curve"
    assert {one.question for one in chosen(rhythm, [hits], frozenset())} == {"timing"}
    # Of two different wishes each has its first figure in it.
    both = {one.id for one in chosen(shooter, [survive, reach], frozenset())}
    assert {"survival.curve", "survival.funnel"} <= both and len(both) <= MOST
    # Nobody asked: the kind of game decides.
    assert {one.question for one in chosen(rhythm, [], frozenset({Part.NOTES}))} == {"timing"}
    assert chosen([], [reach], frozenset()) == ()


def test_the_summary_answers_by_what_was_counted(asked):
    (game,) = asked.games
    (standing,) = game.standings
    assert standing.build == game.builds[-1].label and 0 < standing.players <= standing.runs
    assert standing.met == (abs(standing.figure - 0.5) <= standing.target.tolerance)
    summary = said(sections(asked), "Summary")
    assert standing.seen in summary and standing.verdict in summary
    assert all(finding.headline.rstrip(".") in summary for finding in game.evidence[:2])
    # The players and runs counted are those of the builds that are named with them.
    players, runs = int(game.people["players"][0]), int(game.people["runs"][0])
    assert f"{players} players, {runs} runs (all builds together)" in summary
    label = game.builds[-1].label
    newest = replace(game, selection=replace(game.selection, builds=(label,), newest=True))
    assert f"(build {label}, the newest)" in said(sections(replace(asked, games=(newest,))), "Summary")
    leads = [block.lead for block in sections(asked)[0].blocks]
    assert leads == ["Question.", "Answer.", "What was changed.", "Did it help?", "What next.", "How sure."]


def test_what_was_predicted_is_said_in_the_words_of_its_unit():
    kept = {
        "kept": ["2026-03-01T10:20:30.123456", "2026-03-01T10:20:30.123456"],
        "proposal": ["lives=4", "lives=4"],
        "target": ["reach stage 2", "length of a run"],
        "predicted": [0.536, 41.0],
        "expected_low": [0.25, 30.5],
        "expected_high": [0.75, 52.0],
        "came": [0.583, 55.4],
        "unit": ["share", "s"],
        "inside": [True, False],
    }
    said = predictions(pd.DataFrame(kept))
    assert said["expected, 80 % interval"] == ["54 % (25 to 75 %)", "41 s (30.5 to 52 s)"]
    assert said["came"] == ["58 %", "55.4 s"] and said["inside"] == [True, False]
    assert said["kept"] == 2 * ["2026-03-01 10:20"]


def test_the_builds_are_compared_by_the_targets_that_were_handed_in(asked):
    (game,) = asked.games
    compared = [finding for finding in game.outcome if finding.id == "progress.target"]
    assert [finding.facts["target"] for finding in compared] == ["half see stage 2"]
    (section,) = (one for one in sections(asked) if one.heading == "Did it help?")
    blocks = list(flat(section.blocks))
    (table,) = (block for block in blocks if isinstance(block, Table))
    (figure,) = (block for block in blocks if isinstance(block, Figure))
    before, after = compared[0].tables["builds"]["figure"]
    builds = [one.label for one in game.builds[-2:]]
    assert [table.columns[build] for build in builds] == [[percent(before)], [percent(after)]]
    assert figure.label.endswith("progress.verdict")
    warnings = [block for block in blocks if isinstance(block, Say) and block.tone is Tone.WARNING]
    assert len(warnings) == len({str(block.pieces) for block in warnings}) > 0


def test_half_a_page_is_enough_for_the_summary(asked):
    assert len(said(sections(asked), "Summary").split()) < 330


def test_figures_and_tables_are_numbered_once_and_references_lead_to_them(asked, monkeypatch, tmp_path):
    found = sections(asked)
    blocks = [block for section in found for block in flat(section.blocks)]
    labels = [block.label for block in blocks if isinstance(block, (Figure, Table))]
    assert len(labels) == len(set(labels)) > 20
    names = numbered(found)
    assert sorted(names.values()) == sorted({*names.values()}) and "Figure 1" in names.values()
    refs = {
        piece.label for block in blocks if isinstance(block, Say) for piece in block.pieces if isinstance(piece, Ref)
    }
    assert len(refs) > 4 and refs <= set(labels)
    monkeypatch.setattr("dashboard.report.writing.find_browser", lambda _: None)
    html = write_report(asked, tmp_path).html.read_text(encoding="utf-8")
    assert set(re.findall(r'href="#([^"]+)"', html)) <= set(re.findall(r'id="([^"]+)"', html))


def test_the_latex_holds_together_without_latex(asked):
    found = sections(asked)
    drawn = {block.name for section in found for block in flat(section.blocks) if isinstance(block, Figure)}
    for there in (drawn, set()):
        made = as_document(asked, found, there)
        labels = re.findall(r"\\label\{([^}]+)\}", made)
        assert len(labels) == len(set(labels)) and set(re.findall(r"\\ref\{([^}]+)\}", made)) <= set(labels)
        assert set(re.findall(r"\\cite\{([^}]+)\}", made)) == {source.key for source in asked.sources}
        bare = re.sub(r"\\[{}\\]", "", made)
        assert bare.count("{") == bare.count("}")
        assert re.findall(r"\\begin\{(\w+)\}", made).count("longtable") == made.count(r"\end{longtable}") > 4
        for shape, body in re.findall(r"\\begin\{longtable\}\{(.*?)\}\n(.*?)\\end\{longtable\}", made, re.DOTALL):
            columns = shape.count(r"\dimexpr")
            rows = [line for line in body.splitlines() if line.startswith(r"\hspace")]
            assert rows and all(len(re.findall(r"(?<!\\)&", row)) == columns - 1 for row in rows)


def test_what_people_wrote_stands_in_it_and_what_they_did_not_is_a_gap(read_session):
    words = {place.name: f"Our {place.name}, in <words>." for place in PLACES}
    full = gather(read_session, [Selection(RHYTHM)], About(**words), "2020-01-02")
    text = " ".join(said([section], section.heading) for section in sections(full))
    assert all(words[name] in text for name in ("question", "playtest", "consent", "contributions", "interpretation"))
    bare = gather(read_session, [Selection(RHYTHM)], About(), "2020-01-02")
    text = " ".join(said([section], section.heading) for section in sections(bare))
    assert all(place.gap in text for place in PLACES if place.name in ("playtest", "contributions", "interpretation"))


def test_one_build_no_target_no_proposal_is_still_an_argument(read_session):
    build = read_session.choices(SHOOTER).builds[0]
    content = gather(read_session, [Selection(SHOOTER, builds=(build,))], About(), "2020-01-02")
    alone = replace(content.games[0], findings=tuple(f for f in content.games[0].findings if f.question != "progress"))
    alone = replace(alone, builds=alone.builds[:1], evidence=alone.evidence)
    found = sections(replace(content, games=(alone,)))
    summary = said(found, "Summary")
    assert "No target was written down" in summary and f"only one build, {build}" in summary
    assert "needs a second build" in summary and "No change is proposed" in summary
    assert f"only one build, {build}, was played" in said(found, "Did it help?")
    assert any(isinstance(block, Figure) for block in flat(found[2].blocks))
