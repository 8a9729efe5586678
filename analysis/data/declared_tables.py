"""The tables of a study for people and other programs: runs, lives, deaths, notes. Each column is declared here once.

TABLES.md is written from this by `python -m analysis.data`, and so is the sheet of the workbook that explains columns.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from analysis.columns import Column


class Kind(Enum):
    """What stands in a column: its type in DuckDB and Parquet, and in a frame. Every kind may be missing."""

    TEXT = ("VARCHAR", "object")
    WHOLE = ("BIGINT", "Int64")
    ID = ("BIGINT", "Int64")  # too many digits for a spreadsheet, which gets it as a text
    NUMBER = ("DOUBLE", "float64")
    YES_NO = ("BOOLEAN", "boolean")

    @property
    def sql(self) -> str:
        """Its type in DuckDB and Parquet."""
        return self.value[0]

    @property
    def dtype(self) -> str:
        """Its type in a frame."""
        return self.value[1]


@dataclass(frozen=True)
class DataColumn(Column):
    """personal: it may tell who somebody is, and leaves the study only where that is asked for."""

    kind: Kind = Kind.NUMBER
    personal: bool = False

    @property
    def heading(self) -> str:
        """The name for people, with its unit: `alive_s` is "alive (s)"."""
        words = self.name.removesuffix(f"_{self.unit}").replace("_", " ")
        return f"{words} ({self.unit})" if self.unit else words


@dataclass(frozen=True)
class DataTable:
    """name: of its file or sheet. row: what one row of it is."""

    name: str
    row: str
    columns: tuple[DataColumn, ...]

    def given(self, tags: bool) -> tuple[DataColumn, ...]:
        """Its columns; without those that may tell who somebody is unless `tags`."""
        return tuple(column for column in self.columns if tags or not column.personal)


def _text(name: str, meaning: str, personal: bool = False) -> DataColumn:
    return DataColumn(name, "", meaning, kind=Kind.TEXT, personal=personal)


def _whole(name: str, meaning: str, unit: str = "") -> DataColumn:
    return DataColumn(name, unit, meaning, kind=Kind.WHOLE)


def _number(name: str, unit: str, meaning: str) -> DataColumn:
    return DataColumn(name, unit, meaning)


def _yes_no(name: str, meaning: str) -> DataColumn:
    return DataColumn(name, "", meaning, kind=Kind.YES_NO)


_GAME = _text("game", "title of the game, as its log says it")
_RUN = DataColumn("run_id", "", "number of the run, by which the tables are joined", kind=Kind.ID)
_PLAYER = _text("player", "tag of the player, or a number in its place (P1, P2, ...) where tags stay in the study")
_BUILD = _text("build", "label of the build in this study: firmware, and a letter where tunables differ")
_ATTEMPT = _whole("attempt", "which run of this player in this game, from 1")
_DAMAGED = _yes_no("damaged", "part of the run was lost on the way")
_OF_RUN = (_GAME, _RUN, _PLAYER, _BUILD, _ATTEMPT, _DAMAGED)
_STAGE = (_whole("stage", "number of the stage; missing outside of stages"), _whole("stage_kind", "0 regular, 1 boss"))
_TIER = _whole("tier", "tier of the weapon at the end of the life")

RUNS = DataTable(
    "runs",
    "every run, the newest first; also those that do not count: not valid, open, or of the makers",
    (
        *_OF_RUN,
        _yes_no("tagged", "somebody or the log says who played; otherwise the run counts as a player of its own"),
        _yes_no("team", "played by the makers of the game; not counted unless asked for"),
        _text("player_group", "group of the player, as `setscrew people` was told"),
        _yes_no("first_time", "the player had never played the game before; missing where nobody said"),
        _number("alive_s", "s", "time alive in the run"),
        _text("ending", "finished, game_over, quit (by the player) or cut (the log ends)"),
        _whole("deaths", "deaths in the run"),
        _number("score", "", "score at the end, in the game's own points"),
        _number("rating", "", "how the player rated the run; from a table of ratings where there is one"),
        _yes_no("valid", "the run counts unless somebody or the console's clock speaks against it"),
        _yes_no("open", "the run may be of several players, and counts for nobody"),
        _text("begun", "seen; lost: the start was lost on the way; before: the log begins in the run's midst"),
        _whole("number", "which run of its log, from 1"),
        _text("capture", "name of the log", personal=True),
        _text("capture_key", "SHA-256 of the first 4 KiB of the log", personal=True),
        _text("played_at", "when the run began by the clock of the PC that recorded it, UTC", personal=True),
        _text("candidates", "tags of the players of which one may be its player", personal=True),
        _text("invalid_reason", "why it is not valid, in somebody's words", personal=True),
        _text("remark", "what somebody noted of the run", personal=True),
    ),
)
LIVES = DataTable(
    "lives",
    "a life of a run that counts, from (re)spawn to death or to what cut it short; none whose beginning was lost",
    (
        *_OF_RUN,
        _whole("life", "which life of the run, from 1"),
        *_STAGE,
        _TIER,
        _number("start_s", "s", "its beginning, since the console's power-up"),
        _number("alive_s", "s", "time alive, pauses left out"),
        _yes_no("died", "it ended by death; otherwise it was cut short (censored) after alive_s"),
        _text("ended_by", "death, stage_end, change (of tier or level), run_end, cut (the log ends) or quit"),
    ),
)
DEATHS = DataTable(
    "deaths",
    "a death in a run that counts",
    (
        *_OF_RUN,
        _whole("life", "which life of the run, from 1"),
        *_STAGE,
        _whole("x", "where on the console's screen, from its left", "px"),
        _whole("y", "where on the console's screen, from its top", "px"),
        _whole("cause", "the cause, as the game numbers it"),
        _text("cause_label", "the cause in the game's own words"),
        _number("alive_s", "s", "time alive in this life"),
        _number("run_s", "s", "time since the run began"),
        _whole("lives_left", "lives that were left after it"),
        _TIER,
        _whole("level", "level of speed at the time"),
        _number("shot_ago_s", "s", "time since the player's last shot"),
        _yes_no("inferred", "the beginning of the life was lost: alive_s is not known well"),
    ),
)
NOTES = DataTable(
    "notes",
    "a note that came due in a run that counts, with the press that was meant for it; of a song that was broken off "
    "without its last 300 ms",
    (
        *_OF_RUN,
        _whole("song", "number of the song"),
        _text("song_name", "name of the song in the game's own words, or song and its number"),
        *_STAGE,
        _whole("lane", "the lane or button; missing where the game has none"),
        _number("in_song_s", "s", "when the note was due, since the song began"),
        _yes_no("pressed", "a press was meant for it (analysis/methods, matching)"),
        _number("error_ms", "ms", "press minus due time; late is positive; missing without a press"),
        _number("judged_ms", "ms", "the same without the console's input offset: what the console judges"),
        _number("early_ms", "ms", "how early a press may be, by the window in force"),
        _number("late_ms", "ms", "how late a press may be, by the window in force"),
        _yes_no("hit", "judged_ms is within the window; missing where the build declares no window"),
    ),
)
TABLES = {table.name: table for table in (RUNS, LIVES, DEATHS, NOTES)}


def explained(tags: bool) -> list[list[str]]:
    """Every column that goes out, in rows for a sheet or a file; the first row says what stands in them."""
    rows = [["table", "heading", "column", "unit", "type", "meaning"]]
    for table in TABLES.values():
        rows += [[table.name, one.heading, one.name, one.unit, one.kind.sql, one.meaning] for one in table.given(tags)]
    return rows


_HEAD = """# Tables

What `setscrew export` writes, and what `runs`, `lives`, `deaths` and `notes` of a study in a notebook return. Written
by `python -m analysis.data` from the declarations beside the code; do not edit. Headings are those of the workbook. A
missing value is an empty cell. Columns marked as personal leave the study only with `--tags`.
"""


def text() -> str:
    """The whole of TABLES.md."""
    return "\n".join([_HEAD, *(line for table in TABLES.values() for line in _documented(table))])


def _documented(table: DataTable) -> Iterator[str]:
    yield f"## `{table.name}`\n\nA row: {table.row}.\n"
    yield "| column | heading | unit | type | meaning |\n|---|---|---|---|---|"
    for one in table.columns:
        meaning = f"{one.meaning} (personal)" if one.personal else one.meaning
        yield f"| `{one.name}` | {one.heading} | {one.unit} | {one.kind.sql} | {meaning} |"
    yield ""
