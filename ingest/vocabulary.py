"""The words a play log may use to tell the analysis what a game's own names mean.

A game names its event kinds, fields and tunables as it likes; a *role* ties such a name to a meaning.
The tables of FORMAT.md are read back by the tests and must list exactly these members.
"""

from enum import IntEnum, StrEnum


class EventRole(StrEnum):
    """What an event kind means."""

    RUN_START = "run_start"
    RUN_END = "run_end"
    STAGE_START = "stage_start"
    STAGE_END = "stage_end"
    SPAWN = "spawn"
    DEATH = "death"
    PICKUP = "pickup"
    SHOT = "shot"
    ENEMY_SHOT = "enemy_shot"
    HIT = "hit"
    POSITION = "position"
    NOTE = "note"
    PRESS = "press"
    VERDICT = "verdict"
    PIECE = "piece"
    LANDED = "landed"
    ROWS = "rows"
    LEVEL = "level"
    TRIAL = "trial"
    RATING = "rating"
    INPUT = "input"
    SLOW_FRAME = "slow_frame"
    FLASH = "flash"
    PAUSE = "pause"
    RESUME = "resume"


class FieldRole(StrEnum):
    """What a field of an event means. State fields (lives, tier, level) hold the value *after* the event."""

    PLAYER = "player"
    TEAM = "team"
    FIRST_TIME = "first_time"
    SEED = "seed"
    ENDING = "ending"
    STAGE = "stage"
    STAGE_KIND = "stage_kind"
    SONG = "song"
    CLEARED = "cleared"
    LIVES = "lives"
    TIER = "tier"
    LEVEL = "level"
    X = "x"
    Y = "y"
    CAUSE = "cause"
    AIMED = "aimed"
    SHOT_AGO = "shot_ago"
    LANE = "lane"
    AGO = "ago"
    AHEAD = "ahead"
    GRADE = "grade"
    ERROR = "error"
    SUCCESS = "success"
    SPEED = "speed"
    PIECE = "piece"
    ROWS = "rows"
    SCORE = "score"
    VALUE = "value"
    DURATION = "duration"


class TunableRole(StrEnum):
    """What a tunable does to the game. Roles are what the tuning knows levers by."""

    START_LIVES = "start_lives"
    LIVES_REFILL = "lives_refill"
    FIRE_PERIOD = "fire_period"
    AIMED_SHARE = "aimed_share"
    PICKUP_RATE = "pickup_rate"
    TIERS_SURVIVE = "tiers_survive"
    DROP_INTERVAL = "drop_interval"
    TARGET_SPEED = "target_speed"
    WINDOW_EARLY = "window_early"
    WINDOW_LATE = "window_late"
    INPUT_OFFSET = "input_offset"
    POLL_PERIOD = "poll_period"
    NOTE_SPEED = "note_speed"

    @property
    def acts(self) -> bool:
        """Is its effect on what players reach known? It is then a lever, and a module of analysis/levers says more."""
        return self not in (TunableRole.POLL_PERIOD, TunableRole.NOTE_SPEED)


class Recruitment(StrEnum):
    """How the people who played were found."""

    AUDIENCE = "audience"
    VOLUNTEERS = "volunteers"
    FRIENDS = "friends"
    UNKNOWN = "unknown"


RECRUITMENT_WORDS = {
    Recruitment.AUDIENCE: "drawn from the audience itself",
    Recruitment.VOLUNTEERS: "volunteers",
    Recruitment.FRIENDS: "friends, or people who play much",
    Recruitment.UNKNOWN: "not known: taken for friends",
}


class Ending(IntEnum):
    """How a run ended: the values of a field with the role `ending`. CUT is never logged, only inferred."""

    FINISHED = 0
    GAME_OVER = 1
    QUIT = 2
    CUT = 3


class StageKind(IntEnum):
    """The values of a field with the role `stage_kind`."""

    REGULAR = 0
    BOSS = 1


class LivesRefill(IntEnum):
    """The values of a tunable with the role `lives_refill`: what happens to the lives when a stage is cleared."""

    NONE = 0
    PLUS_ONE = 1
    TO_FULL = 2


class FieldType(StrEnum):
    """How a field is stored: unsigned or two's complement, little-endian, of a fixed width."""

    U8 = "u8"
    I8 = "i8"
    U16 = "u16"
    I16 = "i16"
    U32 = "u32"
    I32 = "i32"

    @property
    def width(self) -> int:
        """Bytes on the wire."""
        return int(self.value[1:]) // 8

    @property
    def signed(self) -> bool:
        return self.value[0] == "i"

    @property
    def limits(self) -> tuple[int, int]:
        """Smallest and largest value the type holds."""
        bits = 8 * self.width
        return (-(1 << (bits - 1)), (1 << (bits - 1)) - 1) if self.signed else (0, (1 << bits) - 1)

    @property
    def none(self) -> int:
        """The value that says that the field does not apply: the highest, or of a signed type the lowest."""
        return self.limits[0 if self.signed else 1]
