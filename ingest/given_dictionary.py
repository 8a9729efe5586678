"""A dictionary laid beside a log, `x.dictionary.txt` beside `x.playlog`, is read instead of its own (CAPTURE.md).

    python -m ingest.given_dictionary LOG

writes it as the log sent it, to be corrected with any editor.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

from ingest.capture.log_file import chunks, shown
from ingest.study.capture_counts import About, Notice
from ingest.study.notices import refused_parts
from ingest.wire.dictionary import MAX_TEXT_BYTES, BadDictionary, Dictionary
from ingest.wire.dictionary_text import parse
from ingest.wire.framing import Framer
from ingest.wire.session import Session


@dataclass(frozen=True)
class Given:
    """The dictionary laid beside a log (None: it cannot be used), and what is told of it: the first notice names it."""

    dictionary: Dictionary | None
    notices: tuple[Notice, ...]


def given_path(log: Path) -> Path:
    """Where the corrected dictionary of the log at `log` lies."""
    return log.with_suffix(".dictionary.txt")


def read_given(log: Path) -> Given | None:
    """The dictionary laid beside the log at `log`, or None where there is none. Raises OSError."""
    path = given_path(log)
    if not path.is_file():
        return None
    with path.open("rb") as file:
        text = file.read(2 * MAX_TEXT_BYTES)
    # Editors on Windows end lines so, and may put a byte order mark in front.
    text = text.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    try:
        dictionary = parse(text)
    except BadDictionary as error:
        what = f"{shown(path.name)} beside the log cannot be used, and the log's own dictionary was read: {error}."
        return Given(None, (Notice(About.GIVEN, 0, what, "Mend that file and ingest again."),))
    what = f"The log was read with the dictionary {shown(path.name)} beside it (0x{dictionary.id:04x})."
    named = Notice(About.GIVEN, 0, what, "Remove that file to read the log's own again.")
    return Given(dictionary, (named, *refused_parts(0, dictionary.refused)))


def sent_by(log: Path) -> bytes | None:
    """The text of the first dictionary in a log of which a part was refused, or else of the first; None without any."""
    framer, session = Framer(), Session()
    with log.open("rb") as file:
        for chunk in chunks(file, log.stat().st_size):
            session.feed(framer.feed(chunk))
    return session.dictionaries.text


def main(arguments: list[str]) -> int:
    """The exit code: 0, or 2 where it could not be done."""
    if len(arguments) != 1:
        print("usage: python -m ingest.given_dictionary LOG", file=sys.stderr)
        return 2
    log = Path(arguments[0])
    try:
        text = sent_by(log)
        if text is None:
            print(
                f"{log}: no dictionary is complete in it; take that of a sound log of the same build", file=sys.stderr
            )
            return 2
        with given_path(log).open("xb") as file:
            file.write(text)
    except OSError as error:
        print(f"{error.filename or log}: {error.strerror or error}", file=sys.stderr)
        return 2
    print(f"{given_path(log)}: correct it, keep the order of kinds and fields, and ingest the log again")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
