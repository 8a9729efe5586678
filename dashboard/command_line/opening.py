"""Opening a study for a command, with every way that may fail turned into words and an exit code.

A dashboard that is open on the study lets go of it: the command waits for that.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from dashboard.command_line import exits


class StudyTrouble(Exception):
    """A study that cannot be used, why, and what to do; `code` is the exit code."""

    def __init__(self, message: str, code: int):
        super().__init__(message)
        self.code = code


@contextmanager
def opened(path: str | Path, read_only: bool = True) -> Iterator[Any]:
    """The open study of `path`, closed afterwards. Raises StudyTrouble."""
    from ingest.study.wanted import open_when_free

    if not Path(path).exists():
        raise StudyTrouble(
            f"{path}: there is no such study. Make it with: setscrew ingest --study {path} LOGS...", exits.INPUT
        )
    with explained():
        study = open_when_free(Path(path), read_only, say=say)
    try:
        with explained(path):
            yield study
    finally:
        study.close()


@contextmanager
def writing_to(place: str | Path) -> Iterator[None]:
    """Turns what the system says against a file or folder that is written into StudyTrouble."""
    try:
        yield
    except OSError as error:
        words = f"{place}: cannot be written ({error.strerror or error}); choose another place"
        raise StudyTrouble(words, exits.INPUT) from None


def open_shared(path: str | Path) -> Any:
    """A study for a process that stays, which lets go of it whenever another wants it. Raises StudyTrouble."""
    from dashboard.state.shared_study import SharedStudy

    with explained():
        return SharedStudy(Path(path), say=say)


@contextmanager
def explained(path: str | Path = "the study") -> Iterator[None]:
    """Turns what analysis and ingest say against a study or its targets into StudyTrouble, and what DuckDB says of a
    damaged one."""
    from ingest.study.study_errors import StudyBusy, StudyError, damage

    try:
        yield
    except StudyTrouble:
        raise
    except StudyBusy as error:
        raise StudyTrouble(str(error), exits.BUSY) from error
    except StudyError as error:
        raise StudyTrouble(str(error), exits.INPUT) from error
    except ValueError as error:
        trouble = _trouble(error)
        if trouble is None:
            raise
        raise trouble from error
    except Exception as error:
        damaged = damage(path, error)
        if damaged is None:
            raise
        raise StudyTrouble(str(damaged), exits.INPUT) from error


def _trouble(error: ValueError) -> StudyTrouble | None:
    """What analysis says against a question, as the words of the command line; None for any other error."""
    from analysis.arguments import WrongArgument
    from analysis.tuning.target_file import BadTargets
    from analysis.tuning_answers.tuning_data import NothingToTune

    if isinstance(error, WrongArgument):
        said = "" if error.value is None else f" {error.value}"
        return StudyTrouble(f"--{error.argument}{said}: {error.remedy}", exits.USAGE)
    if isinstance(error, BadTargets):
        return StudyTrouble(str(error), exits.INPUT)
    return StudyTrouble(str(error), exits.THIN) if isinstance(error, NothingToTune) else None


def say(words: str) -> None:
    """Says why it takes long, where it disturbs no answer."""
    print(words, file=sys.stderr, flush=True)


def beside(study: Path, given: str | None, what: str) -> Path:
    """The folder that was named, or the one beside the study that is named after it and ends in -`what`."""
    return Path(given) if given else study.with_name(f"{study.stem}-{what}")
