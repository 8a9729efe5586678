"""What players say of the game, beside what happened to them."""

import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns
from analysis.stats.estimate import Estimate
from analysis.stats.players.ranks import correlation_within_players, rank_correlation
from analysis.words import amount, counted, limits

# What a rating is compared with, as people call it.
OUTCOMES = {
    "alive_s": "time alive",
    "deaths": "deaths",
    "deaths_per_min": "deaths a minute alive",
    "finished": "finishing",
    "quit": "giving up",
    "score": "score",
    "stages_cleared": "stages cleared",
}
_CORRELATIONS = (
    Column("outcome", "", "what the rating is compared with: a column of `ratings`"),
    *estimate_columns("rank_correlation", "", "-1 to 1"),
    Column("players", "", "players it rests on"),
)
RATINGS = Declared(
    "players.ratings",
    "players",
    "Ratings beside what happened",
    "rank_correlation",
    {
        "ratings": (
            Column("player", "", "who; the rest are means of the player's rated runs"),
            Column("rating", "of 100", "what the player said"),
            Column("alive_s", "s", "time alive"),
            Column("deaths", "", "deaths"),
            Column("finished", "share", "runs that were finished"),
            Column("quit", "share", "runs that were given up"),
            Column("score", "", "score"),
            Column("stages_cleared", "", "stages cleared"),
            Column("deaths_per_min", "deaths a minute", "deaths over time alive"),
        ),
        "outcomes": _CORRELATIONS,
        "within": _CORRELATIONS,
    },
)


def find(rated: Columns, basis: Basis) -> Finding:
    """One finding. rated: the rated runs; there must be some."""
    run = pd.DataFrame({name: rated[name].astype(float) for name in ("rating", *OUTCOMES) if name in rated})
    player = rated["player"]
    table = run.groupby(player).mean().rename_axis("player").reset_index()
    for frame in (table, run):
        frame["deaths_per_min"] = 60 * frame["deaths"] / frame["alive_s"].where(frame["alive_s"] > 0)
    among = {name: rank_correlation(table["rating"].to_numpy(), table[name].to_numpy()) for name in OUTCOMES}
    within = {
        name: correlation_within_players(run["rating"].to_numpy(), run[name].to_numpy(), player) for name in OUTCOMES
    }
    middle = amount(float(table["rating"].median()))
    rated_words = f"{counted(len(table), 'player')} rated {counted(len(run), 'run')}"
    sentence = f"{rated_words}, half of the players at {middle} or more"
    known = [name for name, one in among.items() if one.value is not None]
    shown = "deaths_per_min" if "deaths_per_min" in known else known[0] if known else None
    estimate = among[shown] if shown else None
    if shown and estimate:
        what = OUTCOMES[shown]
        sentence += f"; with {what} the ratings have a rank correlation of {amount(estimate.value)} {limits(estimate)}"
        own = within[shown]
        if own.value is not None:
            sentence += f", within the same player one of {amount(own.value)} {limits(own)}"
    return RATINGS.finding(
        basis,
        f"{sentence}. Which rating or completion rate is right is the designers' to say.",
        estimate,
        {"ratings": table, "outcomes": _correlations(among), "within": _correlations(within)},
        players=len(table),
        runs=len(run),
    )


def _correlations(found: dict[str, Estimate]) -> list[dict[str, object]]:
    """One row for each outcome of which there is a correlation."""
    return [
        {"outcome": outcome, **estimate_cells("rank_correlation", one), "players": one.players}
        for outcome, one in found.items()
        if one.value is not None
    ]
