"""What can go wrong with a study, in words: what DuckDB says, and what to do about it."""

import re
from pathlib import Path

import duckdb

# Longer words of DuckDB's are cut: they may quote what was to be stored.
_LONGEST = 200
_REMEDY = "name your study, or a new file: setscrew ingest --study NEW.duckdb LOGS... makes one"


class StudyError(Exception):
    """The file cannot be used as a study; the message says why and what to do."""


class StudyBusy(StudyError):
    """Another process holds the study."""


class StudyDamaged(StudyError):
    """Bytes of the study are not those that were written."""


class CannotTakeIn(Exception):
    """A log was not taken in, and the study stays as it was; the message names it, says why and what to do."""


def cannot_open(path: Path, error: duckdb.Error) -> StudyError:
    """Why DuckDB does not open the file at `path`."""
    text = str(error)
    # Windows says so in the language of the system; what DuckDB adds is English everywhere.
    if re.search(r"Could not set lock on file|used by another process|file is already open in", text, re.IGNORECASE):
        holder = re.search(r"(?:held in|already open in)\s+(.*?) \(PID (\d+)\)|PID:? ?(\d+)", text)
        who = "another process"
        if holder is not None:
            program = re.split(r"[/\\]", holder[1] or "")[-1]
            who = f"process {holder[2] or holder[3]}" + (f" ({program})" if program else "")
        return StudyBusy(
            f"{path}: {who} holds this study. Wait until it is done, or close it; or use another study file."
        )
    if "different configuration than existing connections" in text:
        return StudyBusy(f"{path}: this program itself holds the study, open in another way; close it there first")
    if path.is_dir():
        return StudyError(f"{path}: this is a folder, no study; {_REMEDY}")
    if "not a valid" in _said(error):
        return StudyError(f"{path}: this file is no study; {_REMEDY}")
    return damage(path, error) or StudyError(
        f"{path}: this file cannot be opened as a study ({_said(error)}); {_REMEDY}"
    )


def damage(path: str | Path, error: BaseException) -> StudyDamaged | None:
    """That the study at `path` is damaged, where `error` of DuckDB's says so; otherwise None."""
    if not isinstance(error, duckdb.Error) or not re.search(
        r"Corrupt database file|Could not read enough bytes|SerializationException|Serialization Error"
        r"|Failed to deserialize|Failed to load metadata|database has been invalidated|Failed to checkpoint",
        str(error),
    ):
        return None
    return StudyDamaged(
        f"{path}: this study is damaged ({_said(error)}). Take a copy of it from before, or make it anew from the "
        "play logs: setscrew ingest --study NEW.duckdb LOGS... (notes and targets are only in the study)"
    )


def cannot_store(log: str, study: Path, error: duckdb.Error) -> Exception:
    """Why the study did not take in the log called `log`."""
    damaged = damage(study, error)
    if damaged is not None:
        return damaged
    said = _said(error)
    disk = re.search(r"No space left on device|File too large|Disk quota exceeded|not enough space", str(error))
    if disk is not None:
        words = f"the disk of {study} is full ({disk[0]}); free some space and ingest it again"
    elif isinstance(error, duckdb.OutOfMemoryException):
        words = f"it needs more memory than there is ({said}); cut the log into its sessions"
    elif isinstance(error, duckdb.FatalException):
        words = f"{study} takes nothing in after an error before; ingest it again"
    else:
        words = f"{study} refuses it ({said}); keep the log, and report this as a fault of Setscrew"
    return CannotTakeIn(f"{log}: not taken in: {words}")


def _said(error: BaseException) -> str:
    """What DuckDB said, in one line, without the kind of the error and without names in quotes."""
    first = (str(error).splitlines() or [type(error).__name__])[0]
    return re.sub(r"^(\w+ Error: )+", "", re.sub(r'(\bfile )?"[^"]*"', "it", first))[:_LONGEST]
