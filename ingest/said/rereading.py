"""Reads logs again whose runs were built with other roles than now hold, where the files are at hand."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ingest.capture.log_file import recognise
from ingest.study.store import ImportResult, Study

# Folders below a place that are looked into.
_MOST_FOLDERS = 500


@dataclass(frozen=True)
class Followed:
    """Names of logs that were read again, and of those whose file is not at hand."""

    read: tuple[str, ...]
    missing: tuple[str, ...]

    def words(self) -> str:
        """What is still to be done, in a sentence; empty where nothing is."""
        if not self.missing:
            return ""
        names = ", ".join(self.missing[:10]) + (" and others" if len(self.missing) > 10 else "")
        return (
            f"Runs follow when these logs are read again, which are not at hand: {names}. Ingest them again (setscrew "
            "ingest); where a log is gone, its runs stay as they were built, and every finding says so."
        )


def behind(study: Study) -> dict[int, str]:
    """The captures whose runs were built with other roles than now hold: number -> name."""
    with study.connection.cursor() as cursor:
        return dict(
            cursor.execute(
                "SELECT capture_id, name FROM captures WHERE capture_id IN "
                "(SELECT capture_id FROM built_roles WHERE NOT current) ORDER BY capture_id"
            ).fetchall()
        )


def usual_places(study: Study) -> list[Path]:
    """Where a study's logs mostly lie: in its folder, or in the one where Setscrew was started."""
    return [study.path.parent, Path.cwd()]


def read_again(study: Study, places: Iterable[Path], bring: Callable[[Path], ImportResult]) -> Followed:
    """Brings every log that is behind in again by `bring`, from files of its name and bytes in `places`.

    A place is a file, or a folder, which is looked through with the folders in it. A file is known by its bytes, not by
    its name alone. Errors of one file leave it for the next place.
    """
    wanted = behind(study)
    read: list[str] = []
    spots = list(places)
    for capture_id, name in wanted.items():
        for path in files_of(study, capture_id, name, spots):
            with suppress(OSError):
                bring(path)
                break
    left = behind(study)
    read = [name for number, name in wanted.items() if number not in left]
    return Followed(tuple(read), tuple(left.values()))


def files_of(study: Study, capture_id: int, name: str, places: Iterable[Path]) -> Iterator[Path]:
    """The files in `places` that hold a capture, or what it has grown to: known by their bytes, once each."""
    seen: set[Path] = set()
    for path in _candidates(places, name):
        with suppress(OSError):
            with study.connection.cursor() as cursor:
                found = recognise(cursor, path, path.stat().st_size)[2]
            if found is not None and found[0] == capture_id and path.resolve() not in seen:
                seen.add(path.resolve())
                yield path


def _candidates(places: Iterable[Path], name: str) -> Iterator[Path]:
    for place in places:
        if place.is_file():
            yield place
        elif place.is_dir():
            folders = [place]
            with suppress(OSError):
                folders += [one for one in sorted(place.iterdir()) if one.is_dir()][:_MOST_FOLDERS]
            yield from (path for path in (folder / name for folder in folders) if path.is_file())
