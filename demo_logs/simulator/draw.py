"""Pictures of Soot Wardens' stages, drawn from the simulator's own geometry as PNG files."""

import struct
import zlib
from pathlib import Path

from demo_logs.simulator.kite import BOTTOM, TOP
from demo_logs.simulator.soot_wardens import HEIGHT, WIDTH

Colour = tuple[int, int, int]
BRICK, MORTAR = (150, 92, 74), (112, 70, 58)
SKY, NIGHT = (116, 140, 164), (84, 104, 130)
SOOT, EMBER = (40, 36, 38), (230, 140, 60)
# Boss 2: the curtain's eight columns, and the vent of the jets into the right corner.
CURTAIN = [20 + 14 * column for column in range(8)]
VENT = range(136, 153)
VENT_Y, BOSS_Y, BOSS_HALF = 62, 24, 13


class Canvas:
    """Pixels of three bytes, row by row from the top."""

    def __init__(self, width: int, height: int):
        self.width, self.height = width, height
        self.pixels = bytearray(3 * width * height)

    def fill(self, left: int, top: int, right: int, bottom: int, colour: Colour) -> None:
        """A rectangle without its right and lower edge, cut at the canvas."""
        left, right = max(0, left), min(self.width, right)
        for y in range(max(0, top), min(self.height, bottom)):
            start = 3 * (y * self.width + left)
            self.pixels[start : start + 3 * max(0, right - left)] = bytes(colour) * max(0, right - left)

    def png(self) -> bytes:
        """The file: 8 bits a channel, no filter (PNG specification, ISO/IEC 15948)."""
        row = 3 * self.width
        lines = b"".join(b"\0" + self.pixels[y * row : (y + 1) * row] for y in range(self.height))
        head = struct.pack(">IIBBBBB", self.width, self.height, 8, 2, 0, 0, 0)
        chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(lines, 9)), (b"IEND", b""))
        return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, body) for kind, body in chunks)


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def chimney() -> Canvas:
    """What every stage shows: night above the brick wall, the band the kite flies in a little lighter."""
    canvas = Canvas(WIDTH, HEIGHT)
    canvas.fill(0, 0, WIDTH, HEIGHT, NIGHT)
    canvas.fill(0, int(TOP), WIDTH, int(BOTTOM), SKY)
    for side in (0, WIDTH - 5):
        canvas.fill(side, 0, side + 5, HEIGHT, MORTAR)
        for course, y in enumerate(range(0, HEIGHT, 6)):
            canvas.fill(side + course % 2, y, side + 4 + course % 2, y + 5, BRICK)
    for course, y in enumerate(range(int(BOTTOM), HEIGHT, 4)):
        for x in range(-6 * (course % 2), WIDTH, 12):
            canvas.fill(x, y, x + 11, y + 3, BRICK)
    return canvas


def second_boss() -> Canvas:
    """The kiln's boss: the moth in the middle, the curtain's columns, the vent over the right corner."""
    canvas = chimney()
    canvas.fill(80 - BOSS_HALF, BOSS_Y - 7, 80 + BOSS_HALF, BOSS_Y + 7, SOOT)
    canvas.fill(80 - 2, BOSS_Y - 2, 80 + 2, BOSS_Y + 2, EMBER)
    for x in CURTAIN:
        canvas.fill(x - 1, 17, x + 1, 20, EMBER)
    canvas.fill(VENT.start, VENT_Y - 6, VENT.stop, VENT_Y, SOOT)
    for x in VENT[2::5]:
        canvas.fill(x, VENT_Y - 2, x + 2, VENT_Y, EMBER)
    return canvas


def write_pictures(folder: Path) -> None:
    """Writes the pictures under the names by which the death map looks for them."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "soot_wardens.png").write_bytes(chimney().png())
    (folder / "soot_wardens-2-boss.png").write_bytes(second_boss().png())
