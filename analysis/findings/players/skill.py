"""Who the players are, how they learn, who gives up after what, and what they say.

Ids and their tables (columns of one length; NaN or None where nothing can be said):

players.skill     players: player, runs, alive_min, deaths, rate_per_min (as observed), own, low, high (drawn
towards the
                  common rate as far as the player's data are thin), finished, quit. facts: sd, sd_low,
                  sd_high, ratio.
players.learning  attempts: attempt, runs, players, rate_per_min, low, high. facts: per_doubling, low, high.
players.groups    groups: group (first-time players, players who know the game, the makers), players, runs,
                  rate_per_min, low, high, finished, finished_low, finished_high.
players.quits     quits: run_id, player, attempt, stage, stage_kind, deaths, deaths_here, since_death_s;
                  after: deaths_in_row (at one stage, "3 or more" is 3), deaths, quits, share, low, high.
players.ratings   ratings: player, rating, alive_s, deaths, deaths_per_min, finished, quit, score,
stages_cleared
                  (means of the player's rated runs); outcomes: outcome, rank_correlation, low, high, players;
                  within: the same columns, each player's rated runs compared with one another.
console.*         see console.py.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, Basis, nothing, read_basis
from analysis.findings.players import console_faults as console
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.learning import learning_within_players
from analysis.stats.proportions import share_by_player
from analysis.stats.ranks import correlation_within_players, rank_correlation
from analysis.stats.rates import rate_by_player
from analysis.stats.spread import spread_of_players
from analysis.words import amount, counted, limits, percent

QUESTION = "players"
Array = np.ndarray
_MOST_ATTEMPTS = 12


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on players; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    found = [_skill(basis)]
    if "death" in basis.roles:
        found.append(_learning(basis))
    found.append(_groups(read_basis(reader, replace(selection, include_team=True)), basis))
    found.append(_quits(reader.ask_chosen("quits", selection), reader.ask_chosen("deaths", selection), basis))
    rated = reader.ask_chosen("rating_runs", selection)
    if rated["run_id"].size:
        found.append(_ratings(rated, basis))
    return found + console.find(reader, selection, basis)


def _minutes(run: Columns) -> Array:
    return run["alive_us"] / 60e6


def _skill(basis: Basis) -> Finding:
    run, player = basis.run, basis.run["player"].astype(str)
    names = np.unique(player)
    ending = run["ending"].astype(str)
    spread = spread_of_players(run["deaths"], _minutes(run), player) if "death" in basis.roles else None
    drawn = {} if spread is None else {
        name: (own, low, high)
        for name, own, low, high in zip(spread.labels, spread.own, spread.low, spread.high, strict=True)
    }  # fmt: skip
    rows: dict[str, list[Any]] = {}
    for name in names:
        mine = player == name
        time, deaths = float(_minutes(run)[mine].sum()), int(run["deaths"][mine].sum())
        own, low, high = drawn.get(name, (None, None, None))
        row = {
            "player": name, "runs": int(mine.sum()), "alive_min": time, "deaths": deaths,
            "rate_per_min": deaths / time if time > 0 else None, "own": own, "low": low, "high": high,
            "finished": int(np.sum(ending[mine] == "finished")), "quit": int(np.sum(ending[mine] == "quit")),
        }  # fmt: skip
        for column, value in row.items():
            rows.setdefault(column, []).append(value)
    facts: dict[str, Any] = {}
    if spread is None:
        estimate = None
        sentence = f"{counted(names.size, 'player')} made {counted(basis.runs, 'run')}; "
        sentence += "how much they differ in dying cannot be told from so little." if "death" in basis.roles else (
            "this game logs no deaths, so skill shows in its own findings."
        )  # fmt: skip
    else:
        sd = spread.sd
        facts = {"sd": sd.value, "sd_low": sd.low, "sd_high": sd.high, "ratio": spread.ratio}
        estimate = sd.in_unit("standard deviations")
        sentence = (
            f"Players' death rates differ by a factor with standard deviation {amount(sd.value)} {limits(estimate)}: "
            f"one at the 90th percentile dies {amount(spread.ratio)} times as often as one at the 10th"
            f"{'.' if sd.low else ', which may be chance.'}"
            if sd.value
            else f"{basis.size} show no difference in skill beyond chance {limits(estimate)}."
        )
    return Finding(
        id="players.skill", question=QUESTION, title="How much players differ", sentence=sentence,
        players=basis.players, runs=basis.runs, method="spread_of_players", estimate=estimate,
        warnings=basis.warnings, tables={"players": rows}, facts=facts,
    )  # fmt: skip


def _learning(basis: Basis) -> Finding:
    run, player, attempt = basis.run, basis.run["player"].astype(str), basis.run["attempt"].astype(int)
    found = learning_within_players(run["deaths"], _minutes(run), attempt, player)
    rows: dict[str, list[Any]] = {}
    for number in range(1, min(int(attempt.max()), _MOST_ATTEMPTS) + 1):
        mine = attempt == number
        rate = rate_by_player(run["deaths"][mine], _minutes(run)[mine], player[mine])
        row = {
            "attempt": number, "runs": int(mine.sum()), "players": rate.players, "rate_per_min": rate.value,
            "low": rate.low, "high": rate.high,
        }  # fmt: skip
        for column, value in row.items():
            rows.setdefault(column, []).append(value)
    facts: dict[str, Any] = {}
    estimate = None
    if found is None:
        sentence = "Nobody died in several attempts, so nothing can be said about learning."
    else:
        estimate = found.per_doubling
        low, high = estimate.low, estimate.high
        facts = {"per_doubling": estimate.value, "low": low, "high": high}
        verdict = "no learning is shown yet"
        if high is not None and low is not None:
            verdict = "they get better" if high < 1 else "they get worse" if low > 1 else verdict
        sentence = (
            f"With twice the attempts a player dies {amount(estimate.value)} times as often {limits(estimate)}, "
            f"compared with the same player's earlier attempts: {verdict}."
        )
    return Finding(
        id="players.learning", question=QUESTION, title="From attempt to attempt", sentence=sentence,
        players=basis.players, runs=basis.runs, method="learning_within_players", estimate=estimate,
        warnings=basis.warnings, tables={"attempts": rows}, facts=facts,
    )  # fmt: skip


def _groups(with_team: Basis, basis: Basis) -> Finding:
    run, player = with_team.run, with_team.run["player"].astype(str)
    audience = np.isin(run["run_id"], basis.run["run_id"]) & (run["team"] == 0)
    first = run["first_time"].astype(float)
    groups = {
        "first-time players": audience & (first == 1),
        "players who know the game": audience & (first == 0),
        "players of whom nothing is known": audience & np.isnan(first),
        "the makers": run["team"] == 1,
    }
    rows: dict[str, list[Any]] = {}
    for name, mine in groups.items():
        if not mine.any():
            continue
        rate = rate_by_player(run["deaths"][mine], _minutes(run)[mine], player[mine])
        done = share_by_player(
            run["ending"][mine].astype(str) == "finished", np.ones(int(mine.sum())), player[mine]
        )
        row = {
            "group": name, "players": int(np.unique(player[mine]).size), "runs": int(mine.sum()),
            "rate_per_min": rate.value, "low": rate.low, "high": rate.high, "finished": done.value,
            "finished_low": done.low, "finished_high": done.high,
        }  # fmt: skip
        for column, value in row.items():
            rows.setdefault(column, []).append(value)
    parts = [
        f"{name}: {counted(runs, 'run')}, {percent(done)} finished"
        for name, runs, done in zip(rows["group"], rows["runs"], rows["finished"], strict=True)
    ]
    warnings = basis.warnings
    if "first-time players" not in rows["group"]:
        warnings += (
            "No run is marked as a first-time player's: a target for newcomers cannot be judged from these.",
        )
    return Finding(
        id="players.groups", question=QUESTION, title="First-time players and the makers apart",
        sentence="; ".join(parts).capitalize() + ". The makers' runs count in nothing else unless asked for.",
        players=with_team.players, runs=with_team.runs, method="rate_by_player", warnings=warnings,
        tables={"groups": rows},
    )  # fmt: skip


def _quits(run: Columns, death: Columns, basis: Basis) -> Finding:
    quit_ = run["ending"].astype(str) == "quit"
    names = ("run_id", "player", "attempt", "stage", "stage_kind", "deaths", "deaths_here", "since_death_s")
    table = {name: run[name][quit_] for name in names}
    share = share_by_player(quit_, np.ones(quit_.size), run["player"].astype(str))
    estimate = share
    after = _after_deaths(run, death)
    who = int(np.unique(run["player"][quit_].astype(str)).size)
    given_up = int(quit_.sum())
    givers = counted(who, "player")
    sentence = f"{given_up} of {counted(basis.runs, 'run')} were given up {limits(estimate)}, by {givers}"
    soon = int(np.sum(table["since_death_s"] < 10))
    if quit_.any() and "death" in basis.roles:
        stuck = int(np.sum(table["deaths_here"] >= 2))
        sentence += (
            f", {soon} of them within 10 s of a death and {stuck} after two or more deaths in one stage"
        )
    return Finding(
        id="players.quits", question=QUESTION, title="Who gives up, and after what", sentence=sentence + ".",
        players=basis.players, runs=basis.runs, method="share_by_player", estimate=estimate,
        warnings=basis.warnings, tables={"quits": table, "after": after},
    )  # fmt: skip


def _after_deaths(run: Columns, death: Columns) -> dict[str, list[Any]]:
    """How often a death was a run's last before it was given up, by the number of deaths in a row at that
    stage.
    """
    ending = dict(zip(run["run_id"].tolist(), run["ending"].astype(str).tolist(), strict=True))
    places = list(
        zip(death["run_id"].tolist(), death["stage"].tolist(), death["stage_kind"].tolist(), strict=True)
    )
    row: list[int] = []
    gave_up, went_on = [], []
    for i, place in enumerate(places):
        row.append(row[-1] + 1 if i and places[i - 1] == place else 1)
        last = i + 1 == len(places) or places[i + 1][0] != place[0]
        gave_up.append(last and ending.get(place[0]) == "quit")
        # The death that ended the game, or after which the log was cut, left no choice to give up.
        went_on.append(not last or ending.get(place[0]) in ("quit", "finished"))
    stretch, chance = np.minimum(np.array(row, int), 3), np.array(went_on, bool)
    quits, player = np.array(gave_up, bool), death["player"].astype(str)
    rows: dict[str, list[Any]] = {
        name: [] for name in ("deaths_in_row", "deaths", "quits", "share", "low", "high")
    }
    for number in (1, 2, 3):
        mine = (stretch == number) & chance
        share = share_by_player(quits[mine], np.ones(int(mine.sum())), player[mine])
        values = (number, int(mine.sum()), int(quits[mine].sum()), share.value, share.low, share.high)
        for name, value in zip(rows, values, strict=True):
            rows[name].append(value)
    return rows


# What a rating is held against, as people call it.
OUTCOMES = {
    "alive_s": "time alive",
    "deaths": "deaths",
    "deaths_per_min": "deaths a minute alive",
    "finished": "finishing",
    "quit": "giving up",
    "score": "score",
    "stages_cleared": "stages cleared",
}


def _ratings(run: Columns, basis: Basis) -> Finding:
    player = run["player"].astype(str)
    names = np.unique(player)
    rows: dict[str, list[Any]] = {"player": names.tolist()}
    for column in ("rating", "alive_s", "deaths", "finished", "quit", "score", "stages_cleared"):
        rows[column] = [_mean(run[column][player == name]) for name in names]
    rows["deaths_per_min"] = [
        60 * d / a if a else np.nan for d, a in zip(rows["deaths"], rows["alive_s"], strict=True)
    ]
    table = _correlations(
        {
            outcome: rank_correlation(np.array(rows["rating"], float), np.array(rows[outcome], float))
            for outcome in OUTCOMES
        }
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        by_run = run | {"deaths_per_min": 60 * run["deaths"] / run["alive_s"]}
    within = _correlations(
        {outcome: correlation_within_players(run["rating"], by_run[outcome], player) for outcome in OUTCOMES}
    )
    middle = amount(float(np.median(rows["rating"])))
    runs = counted(run["run_id"].size, "run")
    sentence = f"{counted(names.size, 'player')} rated {runs}, half of the players at {middle} or more"
    estimate = None
    if table["outcome"]:
        shown = table["outcome"].index("deaths_per_min") if "deaths_per_min" in table["outcome"] else 0
        estimate = Estimate(table["rank_correlation"][shown], table["low"][shown], table["high"][shown])
        what = OUTCOMES[table["outcome"][shown]]
        sentence += f"; with {what} the ratings have a rank correlation of {amount(estimate.value)} {limits(estimate)}"
        if table["outcome"][shown] in within["outcome"]:
            at = within["outcome"].index(table["outcome"][shown])
            own = Estimate(within["rank_correlation"][at], within["low"][at], within["high"][at])
            sentence += f", within the same player one of {amount(own.value)} {limits(own)}"
    return Finding(
        id="players.ratings", question=QUESTION, title="Ratings beside what happened",
        sentence=sentence + ". Which rating or completion rate is right is the designers' to say.",
        players=int(names.size), runs=int(run["run_id"].size), method="rank_correlation", estimate=estimate,
        warnings=basis.warnings, tables={"ratings": rows, "outcomes": table, "within": within},
    )  # fmt: skip


def _correlations(found: dict[str, Estimate]) -> dict[str, list[Any]]:
    """One row for each outcome of which there is a correlation."""
    known = {outcome: one for outcome, one in found.items() if one.value is not None}
    return {
        "outcome": list(known),
        "rank_correlation": [one.value for one in known.values()],
        "low": [one.low for one in known.values()],
        "high": [one.high for one in known.values()],
        "players": [one.players for one in known.values()],
    }


def _mean(column: Array) -> float:
    known = column[np.isfinite(column)]
    return float(known.mean()) if known.size else np.nan
