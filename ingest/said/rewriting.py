"""Writes the file of a study anew: what was deleted lies on in unused blocks of a database until others fill them."""

import os
import shutil
import time
from pathlib import Path

import duckdb

from ingest.study.store import Study
from ingest.study.study_errors import StudyError
from ingest.study.wanted import HEARD_S, TRY_S, Wanted

_MARGIN = 16 << 20


def room_to_rewrite(path: Path) -> bool:
    """Whether the disk has room for a second copy of the file, which there is while it is written."""
    return shutil.disk_usage(path.resolve().parent).free > path.stat().st_size + _MARGIN


def rewrite(study: Study) -> None:
    """Puts a file with the same tables and views, and nothing else, in the place of the study's, and closes the study.

    Raises StudyError where it cannot; the file is then as it was.
    """
    path = study.path.resolve()
    fresh = path.with_name(path.name + ".fresh")
    try:
        _clear(fresh)
        with study.connection.cursor() as cursor:
            ((name,),) = cursor.execute("SELECT current_database()").fetchall()
            cursor.execute("CHECKPOINT")
            cursor.execute("ATTACH '{}' AS fresh".format(str(fresh).replace("'", "''")))
            cursor.execute('COPY FROM DATABASE "{}" TO fresh'.format(name.replace('"', '""')))
            cursor.execute("DETACH fresh")
        shutil.copymode(path, fresh)
        if os.name == "nt":  # a file that is open cannot be replaced there
            study.close()
            _replace_when_free(fresh, path)
        else:  # as long as this process holds the old file, no other can have begun to write into it
            os.replace(fresh, path)
            study.close()
    except (OSError, duckdb.Error) as error:
        raise StudyError(f"{path}: the file could not be written anew ({error})") from error
    finally:
        _clear(fresh)


def _replace_when_free(fresh: Path, path: Path) -> None:
    wanted, began = Wanted(path), time.monotonic()
    try:
        while True:
            try:
                return os.replace(fresh, path)
            except PermissionError:
                if time.monotonic() - began > HEARD_S:
                    raise
            wanted.ask()
            time.sleep(TRY_S)
    finally:
        wanted.withdraw()


def _clear(fresh: Path) -> None:
    for one in (fresh, fresh.with_name(fresh.name + ".wal")):
        one.unlink(missing_ok=True)
