"""Play logs for the tests: written by the Python encoder from random games, whole and damaged."""

import random
import struct
from dataclasses import dataclass

from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import Dictionary, Field, Kind, Tunable
from ingest.wire.encoder import Encoder
from tests.reference import packet_in


def shooter(firmware: str = "1.0") -> Dictionary:
    """A staged shooter with all that runs are built from."""
    f, u8, u16, u32 = Field, FieldType.U8, FieldType.U16, FieldType.U32
    return Dictionary(
        "Moth Run",
        firmware,
        1_000_000,
        (160, 128),
        (
            Kind("begin", EventRole.RUN_START, (f("who", u8, FieldRole.PLAYER), f("lives", u8, FieldRole.LIVES))),
            Kind("over", EventRole.RUN_END, (f("how", u8, FieldRole.ENDING), f("score", u32, FieldRole.SCORE))),
            Kind(
                "enter", EventRole.STAGE_START, (f("stage", u8, FieldRole.STAGE), f("boss", u8, FieldRole.STAGE_KIND))
            ),
            Kind("leave", EventRole.STAGE_END, (f("cleared", u8, FieldRole.CLEARED),)),
            Kind("born", EventRole.SPAWN, (f("lives", u8, FieldRole.LIVES),)),
            Kind(
                "fell",
                EventRole.DEATH,
                (
                    f("x", u8, FieldRole.X),
                    f("y", u8, FieldRole.Y),
                    f("why", u8, FieldRole.CAUSE, None, {1: "beam"}),
                    f("lives", u8, FieldRole.LIVES),
                    f("tier", u8, FieldRole.TIER),
                    f("shot", u16, FieldRole.SHOT_AGO),
                ),
            ),
            Kind("took", EventRole.PICKUP, (f("tier", u8, FieldRole.TIER),)),
            Kind("at", EventRole.POSITION, (f("x", u8, FieldRole.X, "px"), f("y", u8, FieldRole.Y, "px"))),
            Kind("key", EventRole.PRESS, (f("lane", u8, FieldRole.LANE), f("before", u16, FieldRole.AGO))),
            Kind("wait", EventRole.PAUSE),
            Kind("go", EventRole.RESUME),
            Kind("stars", EventRole.RATING, (f("value", u8, FieldRole.VALUE),)),
            Kind("mood", None, (f("deep", FieldType.I32), f("small", FieldType.I8), f("odd", FieldType.I16))),
        ),
        (
            Tunable("lives", TunableRole.START_LIVES, 1, 9, 1, "lives"),
            Tunable("fire", TunableRole.FIRE_PERIOD, 1, 100_000, 1, "ms", {"stage": 2}),
        ),
    )


@dataclass
class Play:
    """A random but orderly stream of events for `shooter`, from a seed; times in ticks."""

    seed: int
    runs: int = 3
    resets: bool = True
    steps: tuple[int, ...] = (0, 1, 300, 20_000, 70_000, 700_000, 3_000_000)

    def log(self) -> bytes:
        """The play log of it."""
        dice = random.Random(self.seed)
        encoder = Encoder(shooter(), [3, 500], nonce=dice.randrange(65536))
        out = bytearray(encoder.power_up())
        tick = dice.randrange(1 << 33)
        for _ in range(self.runs):
            for kind, fields in self._run(dice):
                tick += dice.choice(self.steps)
                out += encoder.event(tick, kind, fields)
            if dice.random() < 0.2:
                out += encoder.drop(dice.randrange(1, 9))
            if dice.random() < 0.3:
                out += encoder.settings({"fire": dice.randrange(1, 1000)})
            if self.resets and dice.random() < 0.3:
                out += encoder.reset()
                tick = dice.randrange(1000)
        out += encoder.flush()
        return bytes(out)

    def _run(self, dice: random.Random) -> list[tuple[str, dict[str, int]]]:
        events: list[tuple[str, dict[str, int]]] = [("begin", {"who": dice.randrange(20), "lives": 3})]
        lives, tier = 3, 0
        for stage in range(1, dice.randrange(2, 5)):
            events.append(("enter", {"stage": stage, "boss": dice.randrange(2)}))
            for _ in range(dice.randrange(12)):
                what = dice.random()
                if what < 0.15:
                    lives, tier = max(0, lives - 1), max(0, tier - 1)
                    events.append(
                        (
                            "fell",
                            {
                                "x": dice.randrange(160),
                                "y": dice.randrange(128),
                                "why": 1,
                                "lives": lives,
                                "tier": tier,
                                "shot": dice.randrange(65536),
                            },
                        )
                    )
                    events.append(("born", {"lives": lives}))
                elif what < 0.3:
                    tier += 1
                    events.append(("took", {"tier": tier}))
                elif what < 0.4:
                    events += [("wait", {}), ("go", {})]
                elif what < 0.5:
                    events.append(("mood", {"deep": dice.randrange(-(1 << 31), 1 << 31), "small": -3, "odd": -300}))
                elif what < 0.7:
                    events.append(("key", {"lane": dice.randrange(4), "before": dice.randrange(9000)}))
                else:
                    events.append(("at", {"x": dice.randrange(160), "y": dice.randrange(128)}))
            if dice.random() < 0.9:
                events.append(("leave", {"cleared": dice.randrange(2)}))
        if dice.random() < 0.8:
            events.append(("over", {"how": dice.randrange(3), "score": dice.randrange(1 << 32)}))
        if dice.random() < 0.5:
            events.append(("stars", {"value": dice.randrange(101)}))
        return events


def damage(log: bytes, dice: random.Random, times: int) -> bytes:
    """`log` with some bytes changed, cut out, put in twice, or moved."""
    out = bytearray(log)
    for _ in range(times):
        at = dice.randrange(len(out) + 1)
        length = min(dice.choice((1, 1, 2, 5, 40, 130, 600)), len(out) - at)
        match dice.randrange(7):
            case 0 if at < len(out):
                out[at] ^= 1 << dice.randrange(8)
            case 1:
                del out[at : at + length]
            case 2:
                out[at:at] = out[at : at + length]
            case 3:
                out[at : at + length] = dice.randbytes(length)
            case 4:
                out[at : at + length] = bytes(length)
            case 5:
                # Whole frames, so that more than the checksum is put to the test.
                frames = bytes(out).split(b"\0")
                i, j = dice.randrange(len(frames)), dice.randrange(len(frames))
                frames[i], frames[j] = frames[j], frames[i] if dice.random() < 0.5 else frames[j]
                out = bytearray(b"\0".join(frames))
            case 6:
                del out[: dice.randrange(min(len(out), 300) + 1)]
    return bytes(out)


def cut(log: bytes, dice: random.Random, pieces: int) -> list[bytes]:
    """`log` in pieces, some of them empty."""
    places = sorted(dice.randrange(len(log) + 1) for _ in range(pieces - 1))
    return [log[a:b] for a, b in zip([0, *places], [*places, len(log)], strict=True)]


def evil(dice: random.Random, packets: int) -> bytes:
    """A log of packets with right checksums and hostile content: what damage on the line hardly ever makes."""
    dictionaries = [
        shooter(),
        shooter("1.1"),
        Dictionary("X", "0", 100, (1, 1), (Kind("a"), Kind("b", None, (Field("v", FieldType.U8),)))),
    ]
    texts = [d.text for d in dictionaries] + [b"playlog 1\nnonsense\n", b"playlog 2\n"]
    out = bytearray()
    sequence, dropped, time = dice.randrange(65536), 0, dice.randrange(1 << 32)
    turn = [0] * len(texts)
    for _ in range(packets):
        which = dice.choice((0, 0, 0, 0, 1, 2, 3, 4)) if dice.random() < 0.2 else 0
        text = texts[which]
        match dice.randrange(8):
            case 0 | 1:
                type_, at = 0x12, turn[which]
                body = _chunk(text, at) if dice.random() < 0.95 else dice.randbytes(dice.randrange(20))
                turn[which] = at + 111 if at + 111 < len(text) else 0
            case 2:
                type_ = 0x13
                values = [dice.randrange(4) for _ in range(dice.randrange(4))]
                body = (
                    crc16(text).to_bytes(2, "little")
                    + bytes([dice.choice((1, 1, 1, 1, 2)), 0])
                    + bytes([dice.choice((0, 0, 1, 250)), len(values)])
                    + b"".join(value.to_bytes(4, "little") for value in values)
                )
                if dice.random() < 0.05:
                    body += b"x"
            case 3:
                type_, body = dice.choice((0x11, 0x14)), dice.randbytes(dice.randrange(118))
            case _:
                type_, body = dice.choice((0x11, 0x14)), _records(dice, dictionaries[min(which, 2)])
                if dice.random() < 0.1:
                    body = body[: dice.randrange(len(body) + 1)]
        if dice.random() < 0.01:
            type_ = dice.choice((dice.randrange(256), 0x10, 0x15))
        packet = header(type_, sequence, dropped, time) + body
        out += stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
        sequence = (sequence + dice.choice((1,) * 40 + (0, 0, 2, 5, 255, 256, 257, 512, 65535))) & 0xFFFF
        dropped = (dropped + dice.choice((0,) * 20 + (1, 65535))) & 0xFFFF
        time = (time + dice.choice((0, 1, 5000) * 9 + (1 << 30, (1 << 31) - 1, 1 << 31, -1))) & 0xFFFFFFFF
    return bytes(out)


def header(type_: int, sequence: int, dropped: int, time: int) -> bytes:
    """A packet's; the short one of type 4 has no room for the high byte and the drops."""
    if type_ & 15 == 4:
        return bytes([type_, sequence & 0xFF]) + time.to_bytes(4, "little")
    return struct.pack("<BHHI", type_, sequence & 0xFFFF, dropped, time)


def lengthened(log: bytes) -> bytes:
    """`log`, undamaged, as it was written before there were short events: with the header of type 1 instead."""
    out = bytearray(b"\0")
    sequence = 0
    for frame in log.split(b"\0"):
        if not frame:
            continue
        packet = packet_in(frame)[:-2]
        if packet[0] == 0x14:
            sequence += (packet[1] - sequence) % 256
            packet = header(0x11, sequence, 0, int.from_bytes(packet[2:6], "little")) + packet[6:]
        else:
            sequence = int.from_bytes(packet[1:3], "little")
        out += stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
    return bytes(out)


def _chunk(text: bytes, at: int) -> bytes:
    part = text[at : at + 111]
    return b"".join(n.to_bytes(2, "little") for n in (crc16(text), len(text), at)) + part


def _records(dice: random.Random, dictionary: Dictionary) -> bytes:
    body = bytearray()
    while True:
        number = dice.randrange(len(dictionary.kinds))
        w = dice.randrange(4)
        record = bytes([4 * number + w]) + dice.randbytes((0, 1, 2, 4)[w] + dictionary.kinds[number].width)
        if len(body) + len(record) > 117 or dice.random() < 0.05:
            return bytes(body)
        body += record
