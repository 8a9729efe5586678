"""Reads the designers' targets from a small TOML file; TARGETS.md documents it."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum
from typing import Any, TypeVar

from analysis.models.targets import Aim, Changeable, Outcome, Population, Statistic, Target, TargetSet, describe
from analysis.tuning.contradiction import contradiction, same_figure
from ingest.vocabulary import Recruitment


class BadTargets(ValueError):
    """The targets cannot be used; the message names the target, the word and the remedy."""


W = TypeVar("W", bound=StrEnum)
SHARE_TOLERANCE = 0.05
_COUNTED = {Outcome.STREAK: "trials", Outcome.LEVEL_REACHED: "levels"}
_UNITS = {**_COUNTED, Outcome.RUN_LENGTH: "s"}
_ONE_RUN = (Outcome.HIT_SHARE, Outcome.STREAK, Outcome.LEVEL_REACHED, Outcome.QUIT_SHARE, Outcome.RUN_LENGTH)
_OWN_WORD = {
    Outcome.REACH_STAGE: "stage",
    Outcome.FINISH_WITHIN: "attempts",
    Outcome.SURVIVE: "seconds",
    Outcome.STREAK: "length",
    Outcome.LEVEL_REACHED: "level",
}


def read_targets(text: str) -> TargetSet:
    """The targets that a TOML text states; raises BadTargets."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadTargets(f"this is not TOML: {error}; see TARGETS.md for an example") from None
    _only(data, {"game", "target", "levers", "playtest"}, "the file")
    entries = data.get("target")
    if not isinstance(entries, list) or not entries:
        raise BadTargets("there is no target; write a [[target]] table with 'outcome' and 'wanted'")
    game = data.get("game")
    if game is not None and not isinstance(game, str):
        raise BadTargets("'game' must be the game's title in quotes")
    targets = tuple(_target(entry, f"target {number}") for number, entry in enumerate(entries, 1))
    _possible(targets)
    doubled = [t.name for n, t in enumerate(targets) if t.name in [other.name for other in targets[:n]]]
    if doubled:
        raise BadTargets(f"two targets are named {doubled[0]!r}; give each its own 'name'")
    playtest = data.get("playtest", {})
    _table(playtest, "[playtest]")
    _only(playtest, {"runs_each", "testers"}, "[playtest]")
    runs_each = None if "runs_each" not in playtest else _whole(playtest, "runs_each", "[playtest]", 1, 1000)
    testers = _word(playtest, "testers", "[playtest]", Recruitment, None) if "testers" in playtest else None
    return TargetSet(targets, _changeable(data.get("levers", {})), game, runs_each, testers)


def _possible(targets: tuple[Target, ...]) -> None:
    """Raises BadTargets where no game can reach two of the targets together."""
    excluded = contradiction(targets)
    if excluded is None:
        return
    wishes = [f"target {targets.index(t) + 1} ({t.name}, {_wish(t)})" for t in excluded]
    why = (
        "both speak of the same figure"
        if same_figure(*excluded)
        else "the first figure can never be more than the second"
    )
    raise BadTargets(
        f"{wishes[0]} and {wishes[1]} cannot both be reached, even within their tolerances: {why}; change one of "
        "them, or leave it out"
    )


def _wish(target: Target) -> str:
    aim = "" if target.aim == Aim.ABOUT else f"{target.aim.replace('_', ' ')} "
    scale, unit = (100, "%") if target.unit == "share" else (1, target.unit)
    return f"{aim}{scale * target.wanted:.6g} {unit}"


def _target(entry: Any, where: str) -> Target:
    _table(entry, where)
    known = {"name", "outcome", "wanted", "tolerance", "weight", "aim", "population", "attempt", "statistic"}
    known |= {"quantile", "kind", "song", "attempts", *_OWN_WORD.values()}
    _only(entry, known, where)
    if isinstance(entry.get("name"), str) and entry["name"].strip():
        where = f"{where} ({entry['name'].strip()[:60]})"
    outcome = _word(entry, "outcome", where, Outcome, None)
    population = _word(entry, "population", where, Population, Population.FIRST_ATTEMPT)
    if outcome == Outcome.FINISH_WITHIN:
        population = _word(entry, "population", where, Population, Population.NEW_PLAYERS)
        if population != Population.NEW_PLAYERS:
            raise BadTargets(f"{where}: 'finish_within' is of players: population must be \"new_players\"")
    number = _own_number(entry, outcome, where)
    attempts, attempt = _attempts(entry, outcome, population, where)
    statistic, quantile = _statistic(entry, outcome, number, where)
    unit = _UNITS[outcome] if outcome in _UNITS and statistic != Statistic.SHARE else "share"
    wanted = _figure(entry, "wanted", where, unit)
    default = SHARE_TOLERANCE if unit == "share" else max(1.0, wanted / 10)
    tolerance = _figure(entry, "tolerance", where, unit) if "tolerance" in entry else default
    if tolerance <= 0:
        raise BadTargets(f"{where}: 'tolerance' must be more than 0; write how far off is still close enough")
    weight = _real(entry, "weight", where) if "weight" in entry else 1.0
    if weight <= 0:
        raise BadTargets(f"{where}: 'weight' must be more than 0; leave a target out that does not count")
    song = None if "song" not in entry else _whole(entry, "song", where, 0, 2**31 - 1)
    if song is not None and outcome != Outcome.HIT_SHARE:
        raise BadTargets(f"{where}: 'song' belongs to outcome \"hit_share\" only")
    target = Target(
        name="",
        outcome=outcome,
        wanted=wanted,
        tolerance=tolerance,
        weight=weight,
        aim=_word(entry, "aim", where, Aim, Aim.ABOUT),
        population=population,
        attempt=attempt,
        attempts=int(number or 1) if outcome == Outcome.FINISH_WITHIN else attempts,
        number=number,
        boss=_boss(entry, outcome, where),
        song=song,
        statistic=statistic,
        quantile=quantile,
        unit=unit,
    )
    return replace(target, name=_name(entry, target, where))


def _own_number(entry: Mapping[str, Any], outcome: Outcome, where: str) -> float | None:
    word = _OWN_WORD.get(outcome)
    for other in set(_OWN_WORD.values()) - {word, "attempts"}:
        if other in entry:
            raise BadTargets(f"{where}: '{other}' does not belong to outcome \"{outcome}\"; leave it out")
    if word is None or (word not in entry and outcome in _COUNTED):
        return None
    if word not in entry:
        raise BadTargets(f"{where}: outcome \"{outcome}\" needs '{word} = ...'")
    if word == "seconds":
        seconds = _real(entry, word, where)
        if not 0 < seconds <= 86_400:
            raise BadTargets(f"{where}: 'seconds' must be more than 0 and at most 86400")
        return seconds
    return _whole(entry, word, where, 0 if word == "level" else 1, 1_000)


def _attempts(entry: Mapping[str, Any], outcome: Outcome, population: Population, where: str) -> tuple[int, int]:
    attempts = attempt = 1
    if "attempts" in entry and outcome != Outcome.FINISH_WITHIN:
        attempts = _whole(entry, "attempts", where, 1, 50)
        if population != Population.NEW_PLAYERS:
            raise BadTargets(f"{where}: 'attempts' goes with population \"new_players\"")
        if outcome in _ONE_RUN:
            raise BadTargets(f"{where}: 'attempts' does not belong to outcome \"{outcome}\"; leave it out")
    if population == Population.ATTEMPT:
        if "attempt" not in entry:
            raise BadTargets(f"{where}: population \"attempt\" needs 'attempt = ...', from 1")
        attempt = _whole(entry, "attempt", where, 1, 50)
    elif "attempt" in entry:
        raise BadTargets(f"{where}: 'attempt' goes with population \"attempt\"; or leave it out")
    return attempts, attempt


def _statistic(
    entry: Mapping[str, Any], outcome: Outcome, number: float | None, where: str
) -> tuple[Statistic, float | None]:
    if outcome == Outcome.RUN_LENGTH:
        if entry.get("statistic", "mean") != "mean" or "quantile" in entry:
            raise BadTargets(f"{where}: a run's length is a mean over runs; leave 'statistic' and 'quantile' out")
        return Statistic.MEAN, None
    measured = outcome == Outcome.HIT_SHARE or (outcome in _COUNTED and number is None)
    if not measured:
        if entry.get("statistic", "share") != "share" or "quantile" in entry:
            raise BadTargets(f"{where}: this outcome is a share; leave 'statistic' and 'quantile' out")
        return Statistic.SHARE, None
    if entry.get("statistic") == "lower_quarter":
        return Statistic.QUANTILE, 0.25
    default = Statistic.QUANTILE if "quantile" in entry else Statistic.MEDIAN
    statistic = _word(entry, "statistic", where, Statistic, default)
    if statistic == Statistic.SHARE:
        raise BadTargets(
            f'{where}: \'statistic\' must be "median", "mean", "lower_quarter" or "quantile" for this outcome'
        )
    if statistic != Statistic.QUANTILE:
        if "quantile" in entry:
            raise BadTargets(f"{where}: 'quantile' goes with statistic \"quantile\"")
        return statistic, 0.5 if statistic == Statistic.MEDIAN else None
    if "quantile" not in entry:
        raise BadTargets(f"{where}: statistic \"quantile\" needs 'quantile = ...', between 0 and 1")
    quantile = _real(entry, "quantile", where)
    if not 0 < quantile < 1:
        raise BadTargets(f"{where}: 'quantile' must be between 0 and 1, such as 0.25 for the lower quarter")
    return Statistic.QUANTILE, quantile


def _boss(entry: Mapping[str, Any], outcome: Outcome, where: str) -> bool:
    kind = entry.get("kind", "regular")
    if kind not in ("regular", "boss"):
        raise BadTargets(f'{where}: \'kind\' must be "regular" or "boss"')
    if "kind" in entry and outcome != Outcome.REACH_STAGE:
        raise BadTargets(f"{where}: 'kind' belongs to outcome \"reach_stage\" only")
    return kind == "boss"


def _name(entry: Mapping[str, Any], target: Target, where: str) -> str:
    if "name" not in entry:
        return describe(target)
    name = entry["name"]
    if not isinstance(name, str) or not name.strip() or len(name) > 200 or not name.isprintable():
        raise BadTargets(f"{where}: 'name' must be a text of 1 to 200 printable characters")
    return name.strip()


def _changeable(data: Any) -> Changeable:
    _table(data, "[levers]")
    _only(data, {"allowed", "frozen", "range"}, "[levers]")
    lists = {}
    for word in ("allowed", "frozen"):
        names = data.get(word, [])
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise BadTargets(f"[levers]: '{word}' must be a list of tunables' names or roles in quotes")
        lists[word] = tuple(names)
    ranges = data.get("range", {})
    _table(ranges, "[levers.range]")
    for name, pair in ranges.items():
        whole = isinstance(pair, list) and len(pair) == 2 and all(type(end) is int for end in pair)
        if not whole or pair[0] > pair[1]:
            raise BadTargets(f"[levers.range]: '{name}' must be [lowest, highest], whole numbers in its unit")
    return Changeable(lists["allowed"], lists["frozen"], {name: (pair[0], pair[1]) for name, pair in ranges.items()})


def _table(data: Any, where: str) -> None:
    if not isinstance(data, dict):
        raise BadTargets(f"{where} must be a table")


def _only(data: Mapping[str, Any], known: set[str], where: str) -> None:
    unknown = sorted(set(data) - known)
    if unknown:
        raise BadTargets(f"{where}: unknown word '{unknown[0][:40]}'; it may hold {', '.join(sorted(known))}")


def _word(entry: Mapping[str, Any], word: str, where: str, words: type[W], default: W | None) -> W:
    value = entry.get(word, default)
    if value is None or value not in list(words):
        choice = ", ".join(f'"{w}"' for w in words)
        raise BadTargets(f"{where}: '{word}' must be one of {choice}")
    return words(value)


def _whole(entry: Mapping[str, Any], word: str, where: str, low: int, high: int) -> int:
    value = entry[word]
    if type(value) is not int or not low <= value <= high:
        raise BadTargets(f"{where}: '{word}' must be a whole number from {low} to {high}")
    return value


def _real(entry: Mapping[str, Any], word: str, where: str) -> float:
    value = entry.get(word)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BadTargets(f"{where}: '{word}' must be a number")
    return float(value)


def _figure(entry: Mapping[str, Any], word: str, where: str, unit: str) -> float:
    """A share written 0.6 or "60 %", or a number in the unit of the figure."""
    value = entry.get(word)
    if value is None:
        raise BadTargets(f"{where}: '{word}' is missing")
    if unit != "share":
        number = _real(entry, word, where)
        if number <= 0:
            raise BadTargets(f"{where}: '{word}' must be more than 0 {unit}")
        return number
    if isinstance(value, str) and value.strip().endswith("%"):
        try:
            share = float(value.strip()[:-1]) / 100
        except ValueError:
            share = math.nan
    else:
        share = _real(entry, word, where)
    if not 0 <= share <= 1:
        raise BadTargets(f"{where}: '{word}' is a share: write 0.6 or \"60 %\"")
    return share
