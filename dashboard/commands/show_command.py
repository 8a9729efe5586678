"""`setscrew show`: the dashboard of one study, in the browser of this machine."""

import argparse
from pathlib import Path

from dashboard.command_line.listening import port_number, serve_at

HELP = "open the dashboard of a study in the browser"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument(
        "--study", required=True, metavar="FILE", help="the study, a DuckDB file; made when it is missing"
    )
    parser.add_argument(
        "--port", type=port_number, default=8750, help="port (default %(default)s; 0: any that is free)"
    )
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="address to listen at (default: this machine only; any other asks for a token)",
    )
    parser.add_argument("--recordings", metavar="FOLDER", help="where the live page keeps its recordings")
    parser.add_argument(
        "--pictures",
        metavar="FOLDER",
        help="pictures of the stages for the death map, PNG files such as my_game-2-boss.png, my_game-2.png or "
        "my_game.png (default: the folder beside the study that is named after it and ends in -pictures)",
    )
    parser.add_argument("--no-browser", action="store_true", help="only print the address")


def run(arguments: argparse.Namespace) -> int:
    """Serves the dashboard until it is interrupted."""
    from dashboard.command_line.opening import beside, open_shared

    path = Path(arguments.study)
    return serve_at(
        arguments.host,
        arguments.port,
        open_shared(path),
        beside(path, arguments.recordings, "recordings"),
        open_browser=not arguments.no_browser,
        pictures=beside(path, arguments.pictures, "pictures"),
    )
