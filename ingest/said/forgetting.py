"""Takes a capture out of a study again, as if its log had never been imported. The log itself is not touched."""

from ingest.study.removal import remove_capture
from ingest.study.settling import settle
from ingest.study.store import Study

_OF_DICTIONARIES = ("kinds", "fields", "labels", "dictionaries")


def forget_capture(study: Study, capture_id: int) -> None:
    """Removes a capture with its events, runs and damage, and builds and dictionaries that no other capture uses.

    One transaction. Notes on its runs stay: they hold again when the same log is imported again. Raises KeyError for
    a capture that the study does not have.
    """
    cursor = study.connection.cursor()
    try:
        q = cursor.execute
        if not q("SELECT 1 FROM captures WHERE capture_id = ?", [capture_id]).fetchall():
            raise KeyError(capture_id)
        q("BEGIN")
        try:
            builds = q("SELECT DISTINCT build_id FROM all_runs WHERE capture_id = ?", [capture_id]).fetchall()
            remove_capture(cursor, capture_id)
            _unused(cursor, [row[0] for row in builds])
            settle(cursor)
            q("COMMIT")
        except BaseException:
            q("ROLLBACK")
            raise
    finally:
        cursor.close()


def _unused(cursor, builds: list[int]) -> None:  # type: ignore[no-untyped-def]
    """Deletes dictionaries without a power-up, their builds, and those of `builds` that no run has any more."""
    gone = "(SELECT dictionary_id FROM dictionaries WHERE dictionary_id NOT IN (SELECT dictionary_id FROM power_ups))"
    unplayed = (
        f"(SELECT build_id FROM builds WHERE dictionary_id IN {gone} "
        "OR (list_contains($builds::BIGINT[], build_id) AND build_id NOT IN (SELECT build_id FROM all_runs)))"
    )
    for table in ("tunables", "builds"):
        cursor.execute(f"DELETE FROM {table} WHERE build_id IN {unplayed}", {"builds": builds})
    for table in _OF_DICTIONARIES:
        cursor.execute(f"DELETE FROM {table} WHERE dictionary_id IN {gone}")
