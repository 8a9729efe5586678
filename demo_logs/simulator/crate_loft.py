"""Crate Loft, the falling-block game: crates are lowered into an attic eight wide and sixteen high.

The pieces are our own choice of shapes. A person looks at a piece for a while, sees the good places more or less
clearly, and moves one step at a time; when the piece comes down before it is where it should be, it lies where it fell.
"""

from demo_logs.simulator.dice import Dice, clamp
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.play import Attempt, Play

WIDE, HIGH, CELL = 8, 16, 8
LEFT_PX = 48
ROWS_A_LEVEL = 4
TOP_LEVEL = 8
NAMES = ("plank", "long plank", "corner", "crate", "stairs", "hook")
_SHAPES = (
    ((0, 0), (1, 0), (2, 0)),
    ((0, 0), (1, 0), (2, 0), (3, 0)),
    ((0, 0), (1, 0), (0, 1)),
    ((0, 0), (1, 0), (0, 1), (1, 1)),
    ((0, 0), (0, 1), (1, 1), (1, 2)),
    ((0, 0), (1, 0), (2, 0), (2, 1), (2, 2)),
)
Cells = tuple[tuple[int, int], ...]


def _turns(cells: Cells) -> tuple[Cells, ...]:
    """The different rotations of a shape, each moved to the corner (0, 0)."""
    found: list[Cells] = []
    for _ in range(4):
        left, low = min(x for x, _ in cells), min(y for _, y in cells)
        placed = tuple(sorted((x - left, y - low) for x, y in cells))
        if placed not in found:
            found.append(placed)
        cells = tuple((y, -x) for x, y in cells)
    return tuple(found)


TURNS = tuple(_turns(shape) for shape in _SHAPES)


class Run(Attempt):
    """One attempt of one person."""

    def __post_init__(self) -> None:
        self.now = self.start
        self.skill = self.person.skill_after(self.memory.runs)
        self.grid = [[False] * WIDE for _ in range(HIGH)]  # row 0 is the floor
        self.heights = [0] * WIDE
        self.level, self.rows, self.score, self.pieces = 1, 0, 0, 0

    def go(self, first_time: bool, seed: int) -> Play:
        """Plays the run to its end."""
        person = self.person
        self.begin(first_time, seed, level=self.level)
        self.now += 800
        ending = 1
        tired_of_it = 70_000 + int(110_000 * person.patience)
        begin = self.now
        while self._piece():
            if self.now - begin > tired_of_it and self.dice.happens(0.03):
                ending = 2
                break
        self.play.log(self.now, "run_over", ending=ending, score=min(self.score, 65534))
        self.play.end = self.now
        self.memory.runs += 1
        self.play.summary = {
            "player": person.tag,
            "ending": ("finished", "game_over", "quit")[ending],
            "level": self.level,
            "rows": self.rows,
            "pieces": self.pieces,
            "skill": round(self.skill, 3),
        }
        return self.play

    def _piece(self) -> bool:
        """One piece from top to rest; False when it does not fit any more."""
        kind = self.dice.below(len(TURNS))
        self.pieces += 1
        self.play.log(self.now, "piece", shape=kind, level=self.level)
        interval = self.tunables[f"drop_interval_{min(self.level, TOP_LEVEL)}"]
        rows = HIGH - max(self.heights)
        available = interval * max(1, rows - 1)
        thinking = int(clamp(800 - 110 * self.skill + self.dice.normal(0, 110), 220, 1500))
        # Whoever must decide in less time than it takes sees the places less clearly.
        hurry = clamp(2.2 * thinking / available, 0.5, 3.0)
        turn, column = self._choose(kind, hurry)
        thinking = min(thinking, int(available * 0.6))
        step = int(clamp(150 - 18 * self.skill, 70, 220))
        if self.dice.happens(clamp(0.03 - 0.012 * self.skill, 0.004, 0.08)):
            thinking += 500 + self.dice.below(700)  # looks away
        start = 3
        turns_possible = max(0, (available - thinking) // step)
        turned = min(turn, turns_possible)
        moves = min(abs(column - start), turns_possible - turned)
        if turned < turn:
            column = start
        cells = TURNS[kind][turned % len(TURNS[kind])]
        width = max(x for x, _ in cells) + 1
        landed = start + moves if column > start else start - moves
        landed = int(clamp(landed, 0, WIDE - width))
        used = min(available, thinking + step * (turn + moves))
        hurried = landed != column
        self.now += used + (0 if hurried else min(available - used, 45 * rows))
        self.now += 60 + self.dice.below(30)
        return self._rest(kind, cells, landed)

    def _choose(self, kind: int, hurry: float) -> tuple[int, int]:
        """Rotation and column that look best to this person."""
        blur = clamp(1.0 - 0.42 * self.skill, 0.12, 2.8) * hurry
        best, chosen = -1e9, (0, 3)
        for turn, cells in enumerate(TURNS[kind]):
            for column in range(WIDE - max(x for x, _ in cells)):
                worth = self._worth(cells, column) + self.dice.normal(0, blur)
                if worth > best:
                    best, chosen = worth, (turn, column)
        return chosen

    def _floor(self, cells: Cells, column: int) -> int:
        return max(0, *(self.heights[column + x] - y for x, y in cells))

    def _worth(self, cells: Cells, column: int) -> float:
        """How good a place looks: low, without new holes, filling rows."""
        y0 = self._floor(cells, column)
        bottoms: dict[int, int] = {}
        for x, y in cells:
            bottoms[x] = min(bottoms.get(x, 99), y)
        holes = sum(y0 + y - self.heights[column + x] for x, y in bottoms.items())
        top = y0 + max(y for _, y in cells)
        full = 0
        for row in {y0 + y for _, y in cells}:
            if row < HIGH:
                full += sum(self.grid[row]) + sum(y0 + y == row for _, y in cells) == WIDE
        walls = (column == 0) + (column + max(bottoms) == WIDE - 1)
        return -0.55 * top - 1.7 * holes + 2.2 * full + 0.4 * walls

    def _rest(self, kind: int, cells: Cells, column: int) -> bool:
        y0 = self._floor(cells, column)
        x_px = LEFT_PX + CELL * column + CELL * (max(x for x, _ in cells) + 1) // 2
        y_px = int(clamp(128 - CELL * y0 - CELL * (max(y for _, y in cells) + 1) // 2, 0, 127))
        if y0 + max(y for _, y in cells) >= HIGH:
            self.play.log(self.now, "jammed", x=x_px, y=y_px, why=1 if kind == 1 else 0, level=self.level)
            self.now += 900
            return False
        for x, y in cells:
            self.grid[y0 + y][column + x] = True
        self.play.log(self.now, "rest", x=x_px, y=y_px, shape=kind)
        kept = [row for row in self.grid if not all(row)]
        cleared = HIGH - len(kept)
        if cleared:
            self.grid = kept + [[False] * WIDE for _ in range(cleared)]
            self.rows += cleared
            self.score += (0, 10, 25, 45, 70)[min(4, cleared)] * self.level
            self.now += 260
            self.play.log(self.now, "shelf", rows=cleared)
            level = min(TOP_LEVEL, 1 + self.rows // ROWS_A_LEVEL)
            if level != self.level:
                self.level = level
                self.play.log(self.now, "faster", level=level)
        self.heights = [
            max((row + 1 for row in range(HIGH) if self.grid[row][column]), default=0) for column in range(WIDE)
        ]
        return True


def rating(person: Person, summary: dict[str, object], memory: Memory, dice: Dice) -> int:
    """What the person says with the slide pot."""
    level = int(str(summary["level"]))
    return int(clamp(38 + 11 * level - level * level + dice.normal(8 * person.patience, 11), 0, 100))
