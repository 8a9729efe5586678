"""A proposal as people say it: what to do, what then happens, and how far that can be relied on."""

from collections.abc import Sequence
from math import exp, log

from analysis.levers import lever_of
from analysis.models.audience import shift_of
from analysis.models.targets import Outcome, Statistic, Target
from analysis.tuning.proposal import Advice, Change, PredictedTarget, Proposal, more_quit
from analysis.words import amount, as_often, capital, counted, listed, percent
from ingest.vocabulary import Recruitment, TunableRole

# Fractions that have a name, and how near to one a figure must be to be called by it. Common sense, no source.
_PARTS = {0.1: "a tenth", 0.2: "a fifth", 0.25: "a quarter", 1 / 3: "a third", 0.5: "half", 2 / 3: "two thirds"}
_NEAR = 0.025
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_OUT_OF = (3, 4, 5, 10)
# Of a quantile: so many players do this or better.
_REACHING = {
    Outcome.HIT_SHARE: "hit at least",
    Outcome.STREAK: "start with a streak of at least",
    Outcome.LEVEL_REACHED: "come to at least level",
}

# Key of a proposal's side effects -> what people call it, its unit, and whether more of it is bad for the players.
SIDE_EFFECTS: dict[str, tuple[str, str, bool]] = {
    "quit_share": ("first runs given up", "share", True),
    "run_length_s": ("length of a first run, seconds alive", "s", False),
    "hit_share": ("shots that hit", "share", False),
    "median_streak": ("streak of half the runs, shots", "", False),
}

# Beside both. The chance to give up at a death is one for all runs (models/MODEL.md, Limits).
QUITS_DIFFER = "Giving up is predicted from all runs, but counted in first runs only, which are few."


def to_do(changes: Sequence[Change]) -> str:
    """`Give five lives and let enemies fire a fifth less often`: changes of one role are said together."""
    by_role: dict[str, list[Change]] = {}
    for change in changes:
        by_role.setdefault(change.role or change.tunable, []).append(change)
    said = [_of_one_role(own) for own in by_role.values()]
    return capital(listed(_both_sides(list(dict.fromkeys(said)))))


def _both_sides(said: list[str]) -> list[str]:
    """What is the same before and after the due moment is said once: `up to 90 ms early or late`."""
    for early in said:
        late = early.replace(" early", " late")
        if late != early and late in said:
            both = early.replace(" early", " early or late")
            return [both if one == early else one for one in said if one != late]
    return said


def expected(proposal: Proposal, targets: Sequence[Target]) -> str:
    """What should then happen by the weightiest target, and whether clearly more would quit: one or two sentences."""
    weights = {target.name: target for target in targets}
    first = max(proposal.targets, key=lambda t: weights[t.target].weight if t.target in weights else 0.0)
    said = _outcome(first, weights.get(first.target))
    quits = more_quit(proposal.side_effects)
    if quits is not None:
        said += f", but more would give up: {percent(quits[1])} instead of {percent(quits[0])}"
    return f"{said}."


def headline(proposal: Proposal, targets: Sequence[Target]) -> str:
    """The answer in a line or two, computed from the proposal."""
    doing = to_do(proposal.changes)
    match proposal.advice:
        case Advice.CHANGE:
            return f"{doing}. {expected(proposal, targets)}"
        case Advice.CLOSE_ENOUGH:
            return "Leave it as it is: what you want is close enough already."
        case Advice.EXPLORE:
            return f"Change boldly and play again: {doing[:1].lower()}{doing[1:]}."
    if proposal.nothing_to_turn:
        return f"Nothing to turn: {proposal.nothing_to_turn}."
    if not proposal.changes:
        return "Not yet: no setting within the allowed ranges is expected to do better."
    if proposal.unknown:
        return f"Not yet: {proposal.unknown}, so nothing can be said of any change."
    return f"Not yet. {doing} may help: {expected(proposal, targets)[:1].lower()}{expected(proposal, targets)[1:]}"


def certainty(proposal: Proposal) -> str:
    """`Likely better than today (94 %)`, or that nothing is recommended yet."""
    if proposal.unknown:
        return f"Nothing to go by ({proposal.unknown})"
    if not proposal.changes:
        return "No change"
    how = "Likely" if proposal.advice == Advice.CHANGE else "Perhaps"
    return f"{how} better than today ({percent(proposal.chance_better)})"


def audience(proposal: Proposal, targets: Sequence[Target]) -> str:
    """Of whom the figures speak, and another audience: `if the audience plays like these 18 people; if it dies a third
    more often: 46 % reach stage 2`. Where the testers are taken to be better than the audience, so are the figures, and
    the other audience is one like the testers."""
    # Where there is nothing to go by, no figure is either.
    if proposal.unknown or not proposal.audiences:
        return f"by the play of {counted(proposal.players, 'player')}"
    like, *others = proposal.audiences
    if not others:
        return like.audience
    known = {target.name: target for target in targets}
    target = proposal.targets[0]
    whose, other, if_other = like.audience, others[0], others[0].audience
    if shift_of(Recruitment(proposal.testers)).mean > 0:
        testers = "volunteers" if proposal.testers == Recruitment.VOLUNTEERS else "friends"
        people_said = counted(proposal.players, "person", "people")
        whose = f"if the audience does worse than these {people_said}, who count as {testers}"
        other, if_other = like, "if it plays like them"
    wish = known.get(target.target)
    then = f"{amount(other.proposed[0], target.unit)} {_doing(wish) if wish else target.target}".rstrip()
    turns = ", and no change would be nearer" if other.turns else ""
    return f"{whose}; {if_other}: {then}{turns}"


def people(share: float) -> str:
    """`half`, `three of four`, or the per cent where no small fraction is near."""
    if abs(share - 0.5) <= _NEAR:
        return "half"
    for whole in _OUT_OF:
        count = round(share * whole)
        if 0 < count < whole and abs(count / whole - share) <= _NEAR:
            return f"{_COUNTS[count]} of {_COUNTS[whole]}"
    return percent(share)


def counted_in_words(count: int, noun: str) -> str:
    """`three knobs`; figures from eleven on."""
    said = counted(count, noun)
    return f"{_COUNTS[count]} {said.partition(' ')[2]}" if count < len(_COUNTS) else said


def part_of(ratio: float) -> str:
    """`a third`: by how much a figure grows or falls, as a part of what it is. ratio: then to now."""
    part = abs(ratio - 1)
    near = min(_PARTS, key=lambda one: abs(one - part))
    return _PARTS[near] if abs(near - part) <= _NEAR else percent(part)


def _of_one_role(changes: Sequence[Change]) -> str:
    first = changes[0]
    lever = lever_of(TunableRole(first.role)) if first.role in list(TunableRole) else None
    phrase = "" if lever is None else lever.by_value.get(first.proposed) or (lever.more, lever.less)[_falls(changes)]
    if lever is None or not phrase:
        return listed([f"set {c.tunable} to {c.proposed}" for c in changes])
    ratios = [(c.now / c.proposed if lever.rate else c.proposed / c.now) for c in changes if c.now > 0 < c.proposed]
    if "{part}" in phrase and len(ratios) < len(changes):
        return listed([f"set {c.tunable} to {c.proposed}" for c in changes])
    ratio = exp(sum(map(log, ratios)) / len(ratios)) if ratios else 1.0
    part = part_of(ratio) if ratios else ""
    if ratio >= 2:
        phrase = phrase.replace("{part} more often", as_often(ratio))
    unit = "" if first.unit == "-" else first.unit
    said = phrase.format(value=_number(first), unit=unit, part=part).replace("  ", " ")
    own = _own_name(first)
    return f"{said} ({own})" if len(changes) == 1 and own else said


def _falls(changes: Sequence[Change]) -> bool:
    return sum(c.proposed - c.now for c in changes) < 0


def _number(change: Change) -> str:
    words = change.role == TunableRole.START_LIVES and 0 <= change.proposed < len(_COUNTS)
    return _COUNTS[change.proposed] if words else str(change.proposed)


def _own_name(change: Change) -> str:
    """What tells it from others of its role: `boss 2` of `fire_period_boss_2`."""
    rest = change.tunable.removeprefix(change.role or "").strip("_ ")
    if not rest or rest == change.tunable:
        return ""
    return (rest if any(letter.isalpha() for letter in rest) else change.tunable).replace("_", " ")


def _outcome(predicted: PredictedTarget, target: Target | None) -> str:
    figure = amount(predicted.proposed.value, predicted.unit)
    if target is not None and target.statistic == Statistic.SHARE:
        return f"{capital(people(predicted.proposed.value))} should then {_doing(target)}"
    if target is not None and target.outcome == Outcome.RUN_LENGTH:
        return f"A run should then last {figure}"
    doing = None if target is None else _REACHING.get(target.outcome)
    if doing is None or target is None or target.quantile is None:
        return f"{capital(predicted.target)} should then be {figure}"
    return f"{capital(_of_players(1 - target.quantile))} should then {doing} {figure}"


def _doing(target: Target) -> str:
    n = "" if target.number is None else f"{target.number:g}"
    return {
        Outcome.REACH_STAGE: f"reach {'the boss of ' if target.boss else ''}stage {n}",
        Outcome.FINISH: "finish",
        Outcome.FINISH_WITHIN: f"finish within {n} attempts",
        Outcome.SURVIVE: f"stay alive for {n} s",
        Outcome.STREAK: f"start with {n or 'some'} in a row",
        Outcome.LEVEL_REACHED: f"reach level {n}",
        Outcome.QUIT_SHARE: "give up",
        Outcome.HIT_SHARE: "hit",
        Outcome.RUN_LENGTH: "alive in a run",
    }[target.outcome]


def _of_players(share: float) -> str:
    said = people(share)
    return f"{said} {'of the ' if ' of ' not in said else ''}players"
