"""The words of a playtest plan: for the team, for the wall, for the players. Markdown, to be printed."""

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.answers.answer import lines_of, table_text
from analysis.words import counted, percent

WHO = """\
## Who plays
First-time players of the game who are not the team's friends. Skilled or well-meaning testers mislead more than small
numbers do: in simulated worlds, testers better than the audience doubled the error of the tuning. Nobody of the team
plays for the record. Set *first time* to yes only for people who have never played the game, not even watched it long.
"""

STOP = """\
## When to stop (decided now, before the first run)
Stop after {players} with {runs} each, whatever the results look like; do not look at outcomes before.
If fewer have come by the end of the session, stop there and report what there is. A run is marked as not valid only
for a reason on this list, decided without looking at its result: the console reset or lost power; the player was
interrupted; the wrong build was on the console; the player had played before and was taken for new.
"""

INSTRUCTIONS = """\
## Read to every player, word for word
> Thank you for trying {game}. We are testing the game, not you; there is no good or bad result. You play {runs}.
> Please play as you would at home. You may stop at any time, without giving a reason. I will not give tips, and I
> can answer questions about the game only afterwards. The console records button presses and what happens in the
> game under the code {tag}, not your name. Is that all right with you?

Say nothing while they play: no tips, no sighs, no "nearly!". Stand where you cannot be read. Ask for opinions after the
last run, not between runs. Use the same console, place, light and volume for everybody; note what differs as a remark.
"""

CONSENT = """\
## Consent, privacy, comfort
Your school's rules come first: ask your teacher which consent is needed, and a guardian's where players are minors.
The log holds a code, never a name; keep any list of codes and names on paper, apart, and destroy it when the report
is handed in. Whoever wants their runs deleted gets them deleted: `setscrew forget --player TAG` takes them out of the
study and names the recordings to delete. Nobody with light-sensitive epilepsy should play a
game that flashes; say so beforehand. Keep the volume moderate, and let people rest their eyes and hands between runs.
"""


def sheet(plan: Mapping[str, Any]) -> str:
    """The whole plan as Markdown; `plan` has the keys of `setscrew plan --json`."""
    slots = plan["schedule"]
    runs = slots[0]["runs"] if slots else plan["runs"]
    each = runs * max(1, len(slots[0]["builds"]) if slots else 1)
    parts = [
        f"# Playtest of {_text(plan['game'])}\n",
        _goal(plan),
        WHO,
        _table(slots),
        STOP.format(players=counted(len(slots), "player"), runs=counted(each, "run")),
        INSTRUCTIONS.format(
            game=_text(plan["game"]), runs="once" if runs == 1 else f"{runs} times", tag="on this sheet"
        ),
        CONSENT,
        f"Planned from the data with fingerprint {plan['fingerprint']}.\n",
    ]
    return "\n".join(parts)


def first(plan: Mapping[str, Any]) -> list[str]:
    """What to know first of the plan, as lines: how many it takes, what so many would teach, and who comes next."""
    scale, unit = scale_and_unit(plan)
    slots = plan["schedule"]
    lines = [plan["game"], "", *lines_of(_takes(plan))]
    now, wanted = (f"±{scale * plan[name]:.1f}" for name in ("now_half_width", "wanted_half_width"))
    lines += lines_of(f"{plan['target']}: the doubt is {now} {unit} (80 %), and {wanted} are wanted.")
    if plan["power"]:
        rows = [[str(p["players_each"]), percent(p["chance"])] for p in plan["power"]]
        lines += ["", *table_text(["players on each build", "chance to tell them apart"], rows)]
    if plan["precision"]:
        rows = [[str(p["players"]), str(p["runs"]), f"±{scale * p['half_width']:.1f}"] for p in plan["precision"]]
        lines += ["", *table_text(["more players", "runs each", f"doubt left, {unit}"], rows)]
    if slots:
        runs = counted(slots[0]["runs"], "run")
        who = slots[0]["player"] + (f" to {slots[-1]['player']}" if len(slots) > 1 else "")
        lines += ["", *lines_of(f"Scheduled: {counted(len(slots), 'player')}, {who}, {runs} each.")]
    if not plan["power"]:
        against = "For a playtest of a change: --against ID, with the id that `setscrew propose` prints."
        lines += ["", *lines_of(against)]
    more = "The whole sheet, with the schedule, what to say and when to stop: --all, or --out FILE."
    return [*lines, "", *lines_of(more)]


def _takes(plan: Mapping[str, Any]) -> str:
    """The answer."""
    if plan["power"]:
        each = plan["players_each_needed"]
        if each is None:
            return "No playtest of a class tells the two builds apart with a chance of 80 %."
        return (
            f"Let {counted(each, 'person', 'people')} play each build: then a difference shows with a chance of 80 %."
        )
    needed = plan["players_needed"]
    if needed is None:
        return "No playtest of a class gets as near as is wanted: accept more doubt, or test in several classes."
    if needed == 0:
        return "Nobody more has to play: the doubt is small enough."
    more = counted(needed, "more first-time player")
    if slower(plan):
        return f"Let at least {more} play the present build, to know the target so well. {MORE_DOUBT}"
    return f"Let {more} play the present build, to know the target so well."


# Doubt beyond the law's by this part is more than the noise of the simulated playtests.
_BEYOND = 1.1
MORE_DOUBT = "Simulated playtests leave more doubt than that number says, so it may take more."


def slower(plan: Mapping[str, Any]) -> bool:
    """Whether the simulated playtests leave more doubt than the law behind `players_needed` says: as one over the root
    of the number of players (`tuning.players_needed`)."""
    needed, rows = plan["players_needed"], plan["precision"]
    if not needed or not rows:
        return False
    now, wanted, last = plan["now_half_width"], plan["wanted_half_width"], rows[-1]
    players = needed / ((now / wanted) ** 2 - 1)
    return bool(last["half_width"] > _BEYOND * now * (players / (players + last["players"])) ** 0.5)


def scale_and_unit(plan: Mapping[str, Any]) -> tuple[int, str]:
    """What a plan's figures are said in: shares in points."""
    return (100, "points") if plan["unit"] == "share" else (1, plan["unit"])


def _goal(plan: Mapping[str, Any]) -> str:
    lines = ["## What it should settle"]
    scale, unit = scale_and_unit(plan)
    lines.append(
        f"{_text(plan['target'])}, the one target planned for: today's doubt is "
        f"{scale * plan['now_half_width']:.1f} {unit} either way (80 %); wanted is "
        f"{scale * plan['wanted_half_width']:.1f}."
    )
    needed = plan["players_needed"]
    if needed == 0:
        lines.append("That is reached already.")
    elif needed is None:
        lines.append("No playtest of a class's size reaches that; accept a wider interval, or test in several classes.")
    else:
        lines.append(f"That takes about {counted(needed, 'more first-time player')} on the present build.")
        lines += [MORE_DOUBT] if slower(plan) else []
    lines.append("Whether a change helps is another question: its proposal says how many that takes.")
    if plan["precision"]:
        lines += ["", "| more players | runs each | doubt left (80 %, either way) |", "|---|---|---|"]
        for p in plan["precision"]:
            lines.append(f"| {p['players']} | {p['runs']} | {scale * p['half_width']:.1f} {unit} |")
    if plan["power"]:
        each = plan["players_each_needed"]
        said = f"about {counted(each, 'player')} on each" if each else "more than 60 players on each"
        lines += ["", f"To tell the two settings apart with a chance of 80 %: {said}.", ""]
        lines += ["Counts are whole numbers: a few more players can leave that chance a little lower.", ""]
        lines += ["| players on each | chance to tell them apart |", "|---|---|"]
        lines += [f"| {p['players_each']} | {percent(p['chance'])} |" for p in plan["power"]]
    return "\n".join(lines) + "\n"


def _table(slots: Sequence[Mapping[str, Any]]) -> str:
    lines = ["## Who plays what", "| no. | player tag | builds, in this order | runs on each | done, remarks |"]
    lines.append("|---|---|---|---|---|")
    for slot in slots:
        builds = ", then ".join(_text(b) for b in slot["builds"])
        lines.append(f"| {slot['number']} | {slot['player']} | {builds} | {slot['runs']} | |")
    lines.append("\nTake people in the order in which they come; do not choose who gets which build.\n")
    return "\n".join(lines)


def _text(words: str) -> str:
    """Texts from a log must not become markup."""
    return "".join("\\" + c if c in "\\`*_{}[]()#+-!|<>" else c for c in words if c.isprintable())
