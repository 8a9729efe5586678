"""What a reader must know of a figure: what it shows and in which unit, what its band or whisker is, how to read it.

How many players and runs it rests on is the finding's own, and is added where the caption is written.
"""

from dataclasses import dataclass

from analysis.finding import Finding
from analysis.stats.estimate import LEVEL
from analysis.words import interval_name

_WHISKER = f"Each line is the {interval_name(LEVEL)}"
_BAND = f"The shaded band is the {interval_name(LEVEL)}"
_ONE_RUN = "Cut and quit runs count as long as they were seen"


@dataclass(frozen=True)
class Words:
    """The three parts of a caption; `band` is empty where a figure draws no interval."""

    shows: str
    band: str
    read: str


def _curve(of: str, until: str) -> Words:
    return Words(
        f"The share (%) of {of} that has not yet come to {until}",
        _BAND,
        f"Where the curve falls fast, many end; half are over where it crosses 50 %. {_ONE_RUN}",
    )


def _curves(of: str) -> Words:
    return Words(
        f"The share (%) of lives that are still going after so many seconds alive, {of}",
        f"{_BAND}, drawn for up to three curves",
        "The upper curve lasts longer; curves whose bands overlap may differ by chance",
    )


def _rows(what: str, read: str) -> Words:
    return Words(what, _WHISKER, read)


_TIMES_ONE = "Right of 1 is more, left of 1 is less; a line that crosses 1 may be chance"
_ZERO = "A line that crosses 0 may be chance"
_FIRST = "Lines that overlap widely may differ by chance"

CAPTIONS: dict[str, Words] = {
    "deaths.places": Words(
        "Deaths on the console's screen, in pixels: each dot is a death, and the colour tells how often players die "
        "around there",
        "",
        "A frame marks a place with more deaths than chance and the time spent there explain. A dark place without a "
        "frame may be chance",
    ),
    "deaths.places_by_cause": Words(
        "Deaths on the screen (pixels), one map a cause; the darker, the more deaths",
        "",
        "A frame marks a place with more deaths than chance explains; compare where each cause kills",
    ),
    "deaths.places_by_stage": Words(
        "Deaths on the screen (pixels), one map a part of the game; the darker, the more deaths",
        "",
        "A frame marks a place with more deaths than chance explains; compare where each part kills",
    ),
    "deaths.causes": _rows(
        "The share (%) of all deaths that each cause took", f"The longest bar is the commonest. {_FIRST}"
    ),
    "deaths.by_stage": _rows("Deaths a minute alive in each part of the game", f"Further right is deadlier. {_FIRST}"),
    "deaths.fairness": Words(
        "How old the shot was that killed, in ms; the height of a bar is a number of deaths",
        "",
        "Left of the dotted lines nobody, or nobody surprised, can react: such a death is hardly fair",
    ),
    "deaths.one": Words(
        "The last seconds before one death, one row a kind of event, in seconds",
        "",
        "Read it from left to right; the death is at 0",
    ),
    "deaths.circumstances": Words(
        "Where on the screen (pixels) deaths came again at one place, soon after a respawn, or while standing still",
        "",
        "Marks close together tell of a place that kills one after another",
    ),
    "survival.curve": _curve("lives", "their end"),
    "survival.hazard": Words(
        "Deaths a minute, by how many seconds the life has lasted",
        _BAND,
        "Where the line is high, a life is in danger; a wide band rests on few lives",
    ),
    "survival.funnel": _rows(
        "The share (%) of all runs, and of first attempts, that reach each part of the game; crosses: of the visits "
        "to it that were played out, the share that gets through. In a game with one part these stand alone",
        "Where the bar shortens most, most runs end. A first attempt is the better likeness of a newcomer",
    ),
    "survival.ends": Words(
        "The share (%) of runs that have ended in each way by so many seconds alive",
        _BAND,
        "Together the curves and what is above them make 100 %: each run ends but once",
    ),
    "survival.by_stage": _curves("one curve a part of the game"),
    "survival.by_build": _curves("one curve a build"),
    "survival.by_attempt": _curves("by attempt"),
    "survival.by_group": _curves("one curve a group of players"),
    "survival.by_first_time": _curves("newcomers and players who know the game apart"),
    "survival.builds": _rows("How many seconds longer a life lasts on the one build than on the other", _ZERO),
    "survival.on_shots": _curve("lives", "their death, counted in shots"),
    "survival.on_progress": _curve("runs", "game over, counted in parts of the game"),
    "survival.on_lives": _curve("visits to a stage", "being cleared, counted in lives"),
    "survival.on_attempts": _curve("players", "a first finish, counted in attempts"),
    "survival.risks": _rows("How many times as high the risk of dying is with each circumstance", _TIMES_ONE),
    "timing.hit_share": Words(
        "The share (%) of notes that each player hit in the window in force; the dashed line is that of all notes",
        f"{_WHISKER} of a player, the shaded band that of all",
        "Further right hits more; the spread of the points is how much players differ",
    ),
    "timing.window": Words(
        "Left: the share (%) of notes that would be hit with each width of window, in ms to either side; a thin line "
        "is a player. Right: the same width, moved early or late",
        f"{_BAND} of all notes",
        "Follow a line from today's window upwards to see what a wider one would gain",
    ),
    "timing.players": Words(
        "When each player presses against the note, in ms: the point is the mean, the bar reaches one standard "
        "deviation to either side",
        f"{_WHISKER} of the mean",
        "Left of 0 is early, right is late; what reaches beyond the dotted edges of the window is missed",
    ),
    "timing.songs": _rows("The share (%) of notes that the average player hits in each song", _FIRST),
    "timing.passages": Words(
        "The share (%) of notes hit along each song, in seconds from its beginning",
        _BAND,
        "A dip is a hard passage; a cross marks a passage whose notes lie early or late against the rest of the song",
    ),
    "timing.drift": _rows("How presses drift against each song, in millionths of its length", _ZERO),
    "timing.density": _rows("The share (%) of notes hit, by the time since the note before (ms)", _FIRST),
    "timing.lanes": _rows("The share (%) of notes that the average player hits in each lane", _FIRST),
    "timing.attempts": _rows("The share (%) of notes hit in each attempt, songs and players alike", _FIRST),
    "timing.latency": Words(
        "The mean of press against note in each log, in ms",
        "",
        "Consoles whose bars differ differ in latency, or in who played on them",
    ),
    "timing.grades": _rows("The share (%) of the console's verdicts that each grade has", _FIRST),
    "players.skill": _rows(
        "Deaths a minute alive of each player: as counted, and as estimated where the players together are taken into "
        "account",
        "Further right dies more often. Who played little is drawn towards the others",
    ),
    "players.learning": _rows("Deaths a minute alive in each attempt", "A line that falls tells of learning"),
    "players.groups": _rows(
        "The share (%) of runs that were finished, of newcomers, of those who know the game, and of the makers", _FIRST
    ),
    "players.quits": _rows(
        "Left, each player's runs, with those that were given up coloured; right, where deaths are logged, how often "
        "(%) a death is followed by giving up, by deaths in a row in one stage",
        _FIRST,
    ),
    "players.ratings": _rows("The rank correlation of the players' ratings with what happened to them, -1 to 1", _ZERO),
    "console.bounce": _rows("The share (%) of each button's presses that are bounces of its contact", _FIRST),
    "console.slide": Words(
        "How far the player moves by itself while the slide is held still, in pixels (standard deviation)",
        "",
        "About a pixel can be seen on the screen",
    ),
    "console.slow_frames": _rows(
        "The share (%) of deaths that came soon after a slow frame",
        "Right of the dotted line is more than chance would bring",
    ),
    "genres.boss": _rows("How many times as often the same player dies at a boss as before it", _TIMES_ONE),
    "genres.tiers": _rows("Deaths a minute alive with each weapon tier", _FIRST),
    "genres.levels": Words(
        "Deaths a minute at each level, by the time a block takes for one row (ms), or by the level where the log "
        "tells one time for all; one mark a build",
        _WHISKER,
        "Shorter times and higher levels are faster; where the marks rise with the speed, the speed kills",
    ),
    "genres.overflow": Words(
        "Where on the screen (pixels from the left) pieces come to rest, and where the pile overflows, each in % of "
        "its own",
        "",
        "Where the second bar is far above the first, the place is dangerous and not only busy",
    ),
    "genres.longest_wait": Words(
        "The share (%) of all pieces that each kind has", "", "The dotted line is an even share"
    ),
    "genres.pace": _rows("Seconds from a piece's appearing to its resting, in each level", _FIRST),
    "genres.streaks": _curve("streaks", "their first miss, counted in shots"),
    "genres.aim": Words(
        "The share (%) of shots that hit, by the speed of the target: points as counted, the curve as fitted",
        f"Each line and the shaded band are the {interval_name(LEVEL)}",
        "Where the curve falls below the share that you want, the target is too fast",
    ),
    "genres.intervals": Words(
        "How much the time between two shots varies (% of its mean) and what is hit (%), one point a player",
        "",
        "Points that rise to one side tell of a connection, not of a cause",
    ),
    "trust.verdict": Words(
        "How much of each log arrived, in kB, and where in it something was lost",
        "",
        "Many marks close together are one bad stretch of the line",
    ),
    "trust.endings": Words("How many runs ended in which way", "", "A cut run has no end in the log"),
    "progress.verdict": Words(
        "Each target on the earlier build (ring) and on the later one (dot); a cross marks what was to be expected of "
        "the earlier build if it was played again",
        "",
        "The shaded field is what was wanted, with its tolerance: a dot inside it has reached the target; "
        "whether the way there may be chance, the sentence says",
    ),
    "progress.target": _rows(
        "The target's figure on the later build, less that on the earlier one; a thin line is a player who is known on "
        "both builds",
        _ZERO,
    ),
    "games.finished": _rows("The share (%) of runs that are finished, game by game", _FIRST),
    "games.quit": _rows("The share (%) of runs that are given up, game by game", _FIRST),
    "games.length": _rows("How long a run lasts, game by game", _FIRST),
    "games.rating": _rows("How players rate each game", _FIRST),
}


def caption(finding: Finding) -> str:
    """The caption of a finding's figure, without its number."""
    words = CAPTIONS[finding.id]
    parts = [words.shows, f"n: {finding.basis}", words.band, words.read]
    return " ".join(f"{part.rstrip('.')}." for part in parts if part)
