"""Plays a session and has the console write its log; damages the bytes where a session asks for it."""

from dataclasses import dataclass, field

from demo_logs.simulator.dice import Dice
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import Firmware
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.sessions import TEAM, TRIED_BEFORE, Damage, Session

Memories = dict[tuple[str, int], Memory]


@dataclass
class Played:
    """A session as it went: the console's commands, and what the truth file keeps."""

    commands: list[str] = field(default_factory=list)
    runs: list[dict[str, object]] = field(default_factory=list)
    events: int = 0


def play(session: Session, firmware: Firmware, people: dict[int, Person], memories: Memories) -> Played:
    """Lets the players of `session` play one after the other; `memories` carries what they have learnt onward."""
    game = GAMES[session.game]
    played = Played()
    second = game.clock_hz
    now = (session.on_since_s + 4) * second
    for player in session.players:
        person = people[player]
        memory = memories.setdefault((session.game, player), Memory())
        dice = Dice("sitting", session.name, player)
        for attempt in range(session.runs):
            new = memory.runs == 0 and player not in (*TRIED_BEFORE, *TEAM)
            luck = Dice(session.name, player, attempt)
            run = game.run(firmware.values, person, memory, session.console, luck, now)
            result = run.go(new, dice.below(65536))
            cut = session.reset_in == len(played.runs)
            if cut:
                # The battery door opens: the rest of the run is never logged, and the clock starts again.
                middle = now + (result.end - now) // 2
                result.events = [event for event in result.events if event[0] <= middle]
                result.summary |= {"ending": "cut", "cut_after_s": round((middle - now) / second, 3)}
            else:
                thought = result.end + int(second * dice.uniform(1.5, 3.5))
                result.log(thought, "stars", liked=game.rating(person, result.summary, memory, dice))
            played.commands += firmware.lines(result.events)
            played.events += len(result.events)
            played.runs.append(result.summary | {"attempt": memory.runs, "first_time": new})
            now = result.end + int(second * dice.uniform(5, 9))
            if cut:
                played.commands += [f"t {middle + second // 10}\n", f"r {nonce_of(session) + 1}\n"]
                now = 4 * second
            if dice.happens(0.10 * (1 - person.patience) + 0.10 * memory.stuck):
                break
        now += int(second * dice.uniform(10, 20))
    played.commands.append(f"t {now}\n")
    return played


def log_bytes(session: Session, firmware: Firmware, played: Played) -> bytes:
    """The bytes that the console sent since the recording began."""
    sent = firmware.run(played.commands, session.board, nonce_of(session))
    if not session.on_since_s:
        return sent
    begun = session.on_since_s * GAMES[session.game].clock_hz
    return sent[len(firmware.run([f"t {begun}\n"], session.board, nonce_of(session))) :]


def nonce_of(session: Session) -> int:
    """A number like one from the noise of an open ADC pin, but the same every time."""
    return Dice("nonce", session.name).below(60000)


def damaged(data: bytes, damage: Damage, name: str) -> tuple[bytes, list[dict[str, object]]]:
    """`data` as a bad cable delivers it, and what was done, with offsets in the undamaged log."""
    dice = Dice("damage", name)
    done: list[dict[str, object]] = [{"what": "capture began late", "offset": 0, "bytes": damage.late_start}]
    end = len(data) - damage.cut_end
    flips = sorted(damage.late_start + dice.below(end - damage.late_start) for _ in range(damage.flipped))
    holes = sorted(damage.late_start + dice.below(end - damage.late_start - 200) for _ in range(damage.lost))
    bad = bytearray(data)
    for offset in flips:
        bad[offset] ^= 1 << dice.below(8)
        done.append({"what": "bit flipped", "offset": offset, "bytes": 1})
    pieces, at = [], damage.late_start
    for offset in holes:
        length = 3 + dice.below(60)
        pieces.append(bytes(bad[at : max(at, offset)]))
        at = max(at, offset) + length
        done.append({"what": "bytes lost", "offset": offset, "bytes": length})
    pieces.append(bytes(bad[at:end]))
    done.append({"what": "log cut off", "offset": end, "bytes": damage.cut_end})
    return b"".join(pieces), done
