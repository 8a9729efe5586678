"""`setscrew people`: groups, experience and ratings of the players, from CSV files, and how the players were found."""

import argparse
import json
import sys
from pathlib import Path

from analysis.words import counted
from dashboard.command_line import exits
from ingest.vocabulary import RECRUITMENT_WORDS, Recruitment

HELP = "take players' groups and ratings from CSV files, and how testers were found, into the study"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    parser.add_argument("--players", type=Path, metavar="CSV", help="player,group,team,first_time")
    parser.add_argument("--ratings", type=Path, metavar="CSV", help="player,game,attempt,rating (0 to 100)")
    parser.add_argument(
        "--testers",
        choices=tuple(map(str, Recruitment)),
        help="how those who played were found; left unsaid, they are taken for friends",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (dashboard/JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Reads the files and says how many rows were taken."""
    from dashboard.command_line.opening import opened
    from ingest.said.notes import note_testers
    from ingest.said.people import BadTable, take_players, take_ratings

    if arguments.players is None and arguments.ratings is None and arguments.testers is None:
        print("Name a file, --players CSV or --ratings CSV, or say --testers.", file=sys.stderr)
        return exits.USAGE
    taken = {"players": 0, "ratings": 0}
    try:
        with opened(arguments.study, read_only=False) as study:
            if arguments.players is not None:
                taken["players"] = take_players(study.connection, arguments.players)
            if arguments.ratings is not None:
                taken["ratings"] = take_ratings(study.connection, arguments.ratings)
            if arguments.testers is not None:
                note_testers(study.connection, arguments.testers)
    except (BadTable, OSError, UnicodeDecodeError) as error:
        print(error, file=sys.stderr)
        return exits.INPUT
    if arguments.json:
        print(json.dumps(taken | ({"testers": arguments.testers} if arguments.testers else {})))
    else:
        read = (("player", arguments.players), ("rating", arguments.ratings))
        said = [counted(taken[f"{what}s"], what) for what, path in read if path is not None]
        said += [f"the testers: {RECRUITMENT_WORDS[arguments.testers]}"] if arguments.testers else []
        print(f"Taken into {arguments.study}: {', '.join(said)}")
    return exits.OK
