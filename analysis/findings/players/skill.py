"""How much players differ in dying, how they learn, and the makers and first-time players apart."""

from typing import Any

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.findings.grouping import same_people
from analysis.reader import Columns
from analysis.stats.estimate import Estimate
from analysis.stats.players.parts import slope_on_part
from analysis.stats.players.spread import Spread, spread_of_players
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player
from analysis.words import amount, as_often, capital, counted, limits, percent

Array = np.ndarray
_MOST_ATTEMPTS = 12
_RATE = "deaths a minute"
SKILL = Declared(
    "players.skill",
    "players",
    "How much players differ",
    "spread_of_players",
    {
        "players": (
            Column("player", "", "who"),
            Column("runs", "", "the player's runs"),
            Column("alive_min", "min", "time alive in them"),
            Column("deaths", "", "deaths in them"),
            Column("rate_per_min", _RATE, "deaths over time alive, as observed"),
            *estimate_columns("own", _RATE, "the rate, drawn towards the common one where the player's data are thin"),
            Column("finished", "", "runs that were finished"),
            Column("quit", "", "runs that were given up"),
        )
    },
    (
        *estimate_columns("sd", "standard deviations", "spread of players' rates, as a factor, free of chance", "sd_"),
        Column("ratio", "times", "the rate of a player at the 90th percentile over that of one at the 10th"),
    ),
)
LEARNING = Declared(
    "players.learning",
    "players",
    "From attempt to attempt",
    "learning",
    {
        "attempts": (
            Column("attempt", "", "which of a player's attempts"),
            Column("build", "", "the build that was played"),
            Column("runs", "", "runs that were that attempt"),
            Column("players", "", "players who came so far"),
            *estimate_columns("rate_per_min", _RATE, "deaths over time alive"),
        )
    },
    estimate_columns("per_doubling", "times", "how many times as often the same player dies with twice the attempts"),
)
GROUPS = Declared(
    "players.groups",
    "players",
    "First-time players and the makers apart",
    "rate_by_player",
    {
        "groups": (
            Column("group", "", "first-time players, those who know the game, unknown ones, the makers"),
            Column("players", "", "players in it"),
            Column("runs", "", "their runs"),
            *estimate_columns("rate_per_min", _RATE, "deaths over time alive"),
            *estimate_columns(
                "finished", "share", "of runs whose end is in the log, those that were finished", "finished_"
            ),
        )
    },
)


def _minutes(run: Columns) -> Array:
    return run["alive_us"] / 60e6


def differences(basis: Basis) -> Finding:
    run = basis.run
    dying = "death" in basis.roles
    spread = spread_of_players(run["deaths"], _minutes(run), run["player"]) if dying else None
    table = _players(run, spread, dying)
    if spread is None:
        why = "it takes three players or more" if basis.run["deaths"].any() else "nobody died"
        why = why if dying else "this game logs no deaths"
        sentence = f"How much players differ in dying cannot be told from {basis.size}: {why}."
        return SKILL.finding(basis, sentence, tables={"players": table})
    estimate = spread.sd.in_unit("standard deviations")
    if spread.sd.value:
        sentence = (
            f"Players' death rates differ by a factor with standard deviation {amount(spread.sd.value)} "
            f"{limits(estimate)}: one at the 90th percentile dies {amount(spread.ratio)} times as often as one at the "
            f"10th{'.' if spread.sd.low else ', which may be chance.'}"
        )
    else:
        sentence = f"In {basis.size} players are not shown to differ in how often they die {limits(estimate)}."
    facts = {**estimate_cells("sd", spread.sd, "sd_"), "ratio": spread.ratio}
    doubtful = not spread.sd.low
    headline = f"Weak players die {as_often(spread.ratio)}, compared with strong ones." if spread.sd.value else ""
    if headline and doubtful:
        headline = "Players are not shown to differ in how often they die."
    return SKILL.finding(basis, sentence, estimate, {"players": table}, facts, headline=headline, doubtful=doubtful)


def _players(run: Columns, spread: Spread | None, dying: bool) -> pd.DataFrame:
    ending = run["ending"]
    by_run = pd.DataFrame(
        {
            "player": run["player"],
            "runs": 1,
            "alive_min": _minutes(run),
            "deaths": run["deaths"].astype(int),
            "finished": (ending == "finished").astype(int),
            "quit": (ending == "quit").astype(int),
        }
    )
    table = by_run.groupby("player").sum()
    table["rate_per_min"] = table["deaths"] / table["alive_min"].where(table["alive_min"] > 0)
    if not dying:
        table["rate_per_min"] = np.nan
    drawn = ("own", "low", "high")
    values = {name: getattr(spread, name) for name in drawn} if spread else dict.fromkeys(drawn, np.nan)
    own = pd.DataFrame(values, index=pd.Index(spread.labels if spread else [], name="player"))
    return table.join(own).reset_index()


def learning(basis: Basis) -> Finding:
    run, player, attempt = basis.run, basis.run["player"], basis.run["attempt"].astype(int)
    build = run["build"].astype(str)
    # A power law of practice is the usual form (Newell & Rosenbloom 1981, from memory); only a slope is claimed here.
    found = slope_on_part(run["deaths"], _minutes(run), np.log(attempt), player, build)
    rows = []
    for name, number in sorted(set(zip(build.tolist(), np.minimum(attempt, _MOST_ATTEMPTS + 1).tolist(), strict=True))):
        if number > _MOST_ATTEMPTS:
            continue
        mine = (build == name) & (attempt == number)
        rate = rate_by_player(run["deaths"][mine], _minutes(run)[mine], player[mine])
        rows.append(
            {
                "attempt": number,
                "build": name,
                "runs": int(mine.sum()),
                "players": rate.players,
                **estimate_cells("rate_per_min", rate),
            }
        )
    tables = {"attempts": rows}
    if found is None:
        sentence = "No player died in several attempts on one build, as it takes to say something about learning."
        return LEARNING.finding(basis, sentence, tables=tables)
    estimate = found.per_doubling
    verdict, headline = "no learning is shown yet", ""
    often = f"with twice the attempts they die {as_often(estimate.value)}"
    if estimate.high is not None and estimate.high < 1:
        verdict = "they get better"
        headline = f"They get better: {often}."
    elif estimate.low is not None and estimate.low > 1:
        verdict = "they get worse"
        headline = f"They get worse: {often}."
    sentence = (
        f"With twice the attempts a player dies {amount(estimate.value)} times as often {limits(estimate)}"
        f"{'' if len(set(build)) == 1 else ', on one and the same build'}: {verdict}."
    )
    facts = estimate_cells("per_doubling", estimate)
    return LEARNING.finding(basis, sentence, estimate, tables, facts, headline=headline)


def groups(with_team: Basis, basis: Basis) -> Finding:
    run = with_team.run
    audience = np.isin(run["run_id"], basis.run["run_id"]) & (run["team"] == 0)
    first = run["first_time"]
    members = {
        "first-time players": audience & (first == 1),
        "players who know the game": audience & (first == 0),
        "players of whom nothing is known": audience & np.isnan(first),
        "the makers": run["team"] == 1,
    }
    rows = [_group(name, run, mine, "death" in basis.roles) for name, mine in members.items() if mine.any()]
    parts = [f"{row['group']}: {counted(row['runs'], 'run')}, {_finished(row)}" for row in rows]
    warnings = basis.warnings
    warnings += tuple(filter(None, [same_people(run.where(audience))]))
    if not members["first-time players"].any():
        warnings += (
            "No run is marked as a first-time player's: for a target, a player's first run here counts as a "
            "newcomer's, unless the player is known to have played before.",
        )
    makers = " The makers' runs count in nothing else unless asked for." if members["the makers"].any() else ""
    return GROUPS.finding(
        with_team, f"{capital('; '.join(parts))}.{makers}", tables={"groups": rows}, warnings=warnings
    )


def _finished(row: dict[str, Any]) -> str:
    return "none with an end in the log" if row["finished"] is None else f"{percent(row['finished'])} finished"


def _group(name: str, run: Columns, mine: Array, dying: bool) -> dict[str, Any]:
    player = run["player"][mine]
    # A game that logs no deaths has no rate of them, and what a run that was cut came to, nobody knows.
    rate: Estimate = rate_by_player(run["deaths"][mine], _minutes(run)[mine], player) if dying else Estimate(None)
    ended = mine & (run["ending"] != "cut")
    done = share_by_player(run["ending"][ended] == "finished", np.ones(int(ended.sum())), run["player"][ended])
    return {
        "group": name,
        "players": int(np.unique(player).size),
        "runs": int(mine.sum()),
        **estimate_cells("rate_per_min", rate),
        **estimate_cells("finished", done, "finished_"),
    }
