"""`setscrew report`: the playtest as a document to hand in."""

import argparse
import sys
from datetime import datetime
from pathlib import Path

from analysis.words import counted
from dashboard.command_line import exits
from dashboard.command_line.choosing import add_selection_arguments, chosen

HELP = "write the report: HTML, PDF, figures, tables and sources"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    add_selection_arguments(parser)
    parser.add_argument("--out", required=True, metavar="FOLDER", help="where to write; made when it is missing")
    parser.add_argument("--targets", metavar="TOML", help="targets to propose for; default: those kept in the study")
    parser.add_argument("--no-proposals", action="store_true", help="leave the proposals out, which take longest")
    parser.add_argument("--browser", metavar="PROGRAM", help="a Chromium-family browser, for PDF and figures as files")
    parser.add_argument("--pictures", metavar="FOLDER", help="pictures of the stages, as for setscrew show")
    words = parser.add_argument_group("what only you know", "default: what was written on the page Report")
    words.add_argument("--title", default="", help="title of the report")
    words.add_argument("--authors", default="", help="who hands it in")
    words.add_argument("--about", dest="question", default="", metavar="TEXT", help="the question you set out with")
    words.add_argument("--playtest", default="", metavar="TEXT", help="where, when and how it was played")
    words.add_argument("--contributions", default="", metavar="TEXT", help="what each author did")
    words.add_argument("--interpretation", default="", metavar="TEXT", help="what the authors make of it")
    words.add_argument("--consent", default="", metavar="TEXT", help="how players were asked, and what they were told")


def run(arguments: argparse.Namespace) -> int:
    """Writes the report and says what it wrote."""
    from analysis.findings.pooled import checked_builds
    from analysis.played_order import of_newest
    from analysis.selection import choose
    from dashboard.command_line.opening import StudyTrouble, beside, explained, opened, writing_to
    from dashboard.report.content import About, gather
    from dashboard.report.places_to_write import PLACES
    from dashboard.report.proposing import proposer
    from dashboard.report.writing import write_report
    from dashboard.state.dashboard_session import Session
    from dashboard.state.stage_pictures import StagePictures

    with opened(arguments.study) as study:
        session = Session(study)
        session.pictures = StagePictures(beside(Path(arguments.study), arguments.pictures, "pictures"))
        with explained(arguments.study):
            asked = choose(session.games(), **chosen(arguments))
            selections = [of_newest(session.reader, selection) for selection in asked]
            for selection in selections:
                checked_builds(selection)
        try:
            given = _text(arguments.targets)
            propose = None if arguments.no_proposals else proposer(session, given)
        except ValueError as error:
            raise StudyTrouble(str(error), exits.USAGE) from None
        if not selections:
            unread = session.why_no_run()
            raise StudyTrouble(unread or "The study holds no game yet: ingest play logs first.", exits.THIN)
        given_words = {place.name: getattr(arguments, place.name) for place in PLACES}
        about = About(**session.words() | {place: text for place, text in given_words.items() if text})
        content = gather(session, selections, about, f"{datetime.now():%Y-%m-%d}", propose, given or "")
        with writing_to(arguments.out):
            written = write_report(content, Path(arguments.out), arguments.browser)
    print(written.html)
    if written.pdf is not None:
        print(written.pdf)
    files = counted(len(written.files), "file")
    print(
        f"and {files} of figures, tables and sources beside {'it' if written.pdf is None else 'them'}", file=sys.stderr
    )
    for remark in written.remarks:
        print(remark, file=sys.stderr)
    return exits.OK


def _text(path: str | None) -> str | None:
    if path is None:
        return None
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"{path}: cannot be read: {error}") from error
