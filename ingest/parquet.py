"""A study's raw tables as partitioned Parquet (`setscrew export --events`).

    FOLDER/events/game=<game>/kind=<kind>/*.parquet     the events, under the game's own field names
    FOLDER/<table>.parquet                              runs, stages, lives, spells, captures, tunables, ...

Any distributed SQL engine reads this layout; STORE.md shows how it was read back. Players stand there by their tags.
"""

from pathlib import Path

from ingest.study.store import Study
from ingest.study.study_errors import StudyError
from ingest.study.tables import slug

TABLES = (
    "runs",
    "stages",
    "lives",
    "spells",
    "captures",
    "damage",
    "notices",
    "power_ups",
    "dictionaries",
    "kinds",
    "fields",
    "labels",
    "builds",
    "tunables",
)


def export_parquet(study: Study, folder: Path) -> list[Path]:
    """Writes the study below `folder`, which must not exist yet; returns the files. Raises StudyError.

    Texts of logs never become names of files: games are named as in their tables, by letters, digits and underscores.
    """
    if folder.exists():
        raise StudyError(f"{folder}: this folder is there already; name a new one, or remove it first")
    folder.mkdir(parents=True)
    with study.connection.cursor() as cursor:
        for table in TABLES:
            cursor.execute(f"COPY (FROM {table}) TO '{_quoted(folder / f'{table}.parquet')}' (FORMAT parquet)")
        kinds = cursor.execute(
            "SELECT table_name, any_value(kind), any_value(game) FROM kinds JOIN dictionaries USING (dictionary_id) "
            "GROUP BY table_name ORDER BY table_name"
        ).fetchall()
        for table, kind, game in kinds:
            place = folder / "events" / f"game={slug(game)}" / f"kind={kind}"
            place.mkdir(parents=True, exist_ok=True)
            # A kind whose fields changed has several tables: a file each, in one partition.
            file = place / f"{table.removeprefix('events.').strip(chr(34))}.parquet"
            cursor.execute(f"COPY (FROM {table}) TO '{_quoted(file)}' (FORMAT parquet)")
    return sorted(folder.rglob("*.parquet"))


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
