"""Falling blocks: levels, where the pile overflows, the longest wait for a piece, pace."""

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.picked import drawn_ratios
from analysis.stats.players.parts import slope_on_part
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.rates import rate_by_player
from analysis.stats.streaks import longest_wait, wait_chance
from analysis.words import amount, as_often, counted, limits

Array = np.ndarray
# The pile's height at the end is read off the last so many pieces: those of one layer of a narrow pit.
_LAST_PIECES = 8
LEVELS = Declared(
    "genres.levels",
    "genres",
    "Survival by level and drop interval",
    "slope_on_part",
    {
        "levels": (
            Column("level", "", "the level"),
            Column("build", "", "the build that was played"),
            Column("interval_ms", "ms", "time a piece takes for one row there"),
            Column("alive_s", "s", "time alive on it"),
            Column("deaths", "", "deaths on it"),
            *estimate_columns("rate_per_min", "deaths a minute", "deaths over that time"),
            Column("runs", "", "runs that came to it"),
            Column("players", "", "players who came to it"),
        )
    },
    estimate_columns("per_halving", "times", "how many times as often the same player dies with half the interval"),
)
OVERFLOW = Declared(
    "genres.overflow",
    "genres",
    "Where the pile overflows",
    "overflow",
    {
        "columns": (
            Column("x_px", "px", "the column, from the left"),
            Column("pieces", "", "pieces that came to rest there"),
            Column("overflows", "", "runs that overflowed and whose highest piece of the last few lay there"),
            Column("players", "", "players whose runs those are"),
            Column("deaths", "", "deaths that were logged there"),
            *estimate_columns(
                "times", "times", "overflows over those expected by the pieces there, drawn to most columns'", "times_"
            ),
        )
    },
)
LONGEST_WAIT = Declared(
    "genres.longest_wait",
    "genres",
    "The longest wait for a piece",
    "longest_wait",
    {
        "pieces": (
            Column("piece", "", "the number of the piece in the log"),
            Column("label", "", "its name"),
            Column("pieces", "", "how often it came"),
            Column("share", "share", "of all pieces, those"),
            Column("longest", "", "the most pieces in a row without it"),
            Column("chance", "", "of a wait so long somewhere, were all pieces alike and independent"),
        )
    },
)
PACE = Declared(
    "genres.pace",
    "genres",
    "Time per piece",
    "intervals",
    {
        "levels": (
            Column("level", "", "the level; 0 where none is logged"),
            Column("pieces", "", "pieces on it"),
            Column("players", "", "players who came to it"),
            *estimate_columns("seconds", "s", "from appearing to resting: mean of the players' medians"),
        )
    },
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """As far as pieces, where they land and levels are logged."""
    spell = reader.ask_chosen("level_spells", selection)
    piece = reader.ask_chosen("pieces", selection)
    found = [_levels(spell, basis)] if spell["level"].size and "death" in basis.roles else []
    if np.isfinite(piece["x"]).any():
        found.append(_overflow(piece, reader.ask_chosen("deaths", selection), basis))
    if np.unique(piece["piece"][np.isfinite(piece["piece"])]).size > 1:
        found.append(_longest_wait(piece, basis))
    if np.isfinite(piece["rest_us"].astype(float)).any():
        found.append(_pace(piece, basis))
    return found


def _levels(spell: Columns, basis: Basis) -> Finding:
    player, build = spell["player"], spell["build"].astype(str)
    level, interval = spell["level"], spell["interval_ms"]
    rows = []
    for number, name in sorted(set(zip(level.tolist(), build.tolist(), strict=True))):
        mine = (level == number) & (build == name)
        rate = rate_by_player(spell["deaths"][mine], spell["alive_s"][mine] / 60, player[mine])
        rows.append(
            {
                "level": int(number),
                "build": name,
                "interval_ms": float(interval[mine][0]),
                "alive_s": 60 * rate.exposure,
                "deaths": rate.events,
                **estimate_cells("rate_per_min", rate),
                "runs": int(np.unique(spell["run_id"][mine]).size),
                "players": rate.players,
            }
        )
    known = np.isfinite(interval) & (interval > 0)
    slope = None
    if known.any():
        halvings = -np.log2(interval[known])
        slope = slope_on_part(spell["deaths"][known], spell["alive_s"][known], halvings, player[known], build[known])
    estimate = slope.ratio if slope else None
    sentence = f"Level {level.max():.0f} was the highest of {basis.size}"
    if estimate:
        sentence += (
            f"; where pieces drop twice as fast a player dies {amount(estimate.value)} times as often a minute "
            f"{limits(estimate)}, compared with the same player at other levels (the pit is fuller by then, too)"
        )
    per_halving, headline = estimate or Estimate(None), ""
    if estimate:
        headline = f"Where pieces drop twice as fast, players die {as_often(estimate.value)}."
    doubtful = not per_halving.excludes(1)
    if headline and doubtful:
        headline = "Faster pieces are not shown to kill more often, or less."
    facts = estimate_cells("per_halving", per_halving)
    return LEVELS.finding(
        basis, f"{sentence}.", estimate, {"levels": rows}, facts, headline=headline, doubtful=doubtful
    )


def _overflow(piece: Columns, death: Columns, basis: Basis) -> Finding:
    rest = pd.DataFrame({name: piece[name] for name in ("run_id", "player", "x", "y")}).astype({"x": float, "y": float})
    rest = rest.dropna(subset=["x", "y"])
    last = rest[rest["run_id"].isin(death["run_id"])].groupby("run_id").tail(_LAST_PIECES)
    top = last.loc[last.groupby("run_id")["y"].idxmin()]
    table = pd.DataFrame({"pieces": rest.groupby("x").size()})
    table["overflows"] = top.groupby("x").size()
    table["players"] = top.groupby("x")["player"].nunique()
    table["deaths"] = pd.Series(death["x"]).value_counts()
    table = table.fillna(0).astype(int)
    # Each player's overflows, and where they would lie if the pile was highest where pieces come to rest.
    count = pd.crosstab(top["player"], top["x"]).reindex(columns=table.index, fill_value=0)
    even = np.outer(count.sum(axis=1), table["pieces"] / max(len(rest), 1))
    (times,) = drawn_ratios([count.to_numpy(float)], [even]) if len(top) else (None,)
    known = np.full(len(table), np.nan)
    drawn = {"times": known, "times_low": known, "times_high": known}
    if times is not None:
        drawn = {"times": times.value, "times_low": times.low, "times_high": times.high}
    table = table.assign(**drawn).rename_axis("x_px").reset_index()
    if "death" not in basis.roles:
        sentence = "This game logs no deaths, so where the pile overflows cannot be told: log `death` when it does."
    elif not len(top):
        sentence = "No run ended with an overflow, so there is no place to name."
    else:
        sentence = _overflow_words(table, len(top))
    return OVERFLOW.finding(basis, sentence, tables={"columns": table})


def _overflow_words(table: pd.DataFrame, runs: int) -> str:
    most = table.loc[table["times"].idxmax()]
    ratio = Estimate.known(most["times"], most["times_low"], most["times_high"], "times")
    sure = limits(ratio.in_unit("times"))
    if ratio.low is not None:
        sure = f"{sure[:-1]}; drawn to what most columns have, for it was picked of {len(table)})"
    chance = ", which may be chance" if ratio.low is None or ratio.low <= 1 else ""
    return (
        f"The pile was highest at x {most['x_px']:.0f} in {int(most['overflows'])} of {counted(runs, 'run')} that "
        f"ended with an overflow, {amount(ratio.value)} times as often as pieces come to rest there {sure}{chance}."
    )


def _longest_wait(piece: Columns, basis: Basis) -> Finding:
    known = np.isfinite(piece["piece"])
    kind, run, labels = piece["piece"][known].astype(int), piece["run_id"][known], piece["piece_label"][known]
    kinds, of_run = np.unique(kind), np.unique(run, return_counts=True)[1]
    rows = []
    for value in kinds:
        mine = kind == value
        longest = longest_wait(mine, run)
        rows.append(
            {
                "piece": int(value),
                "label": next((str(text) for text in labels[mine] if text is not None), f"piece {value}"),
                "pieces": int(mine.sum()),
                "share": float(mine.mean()),
                "longest": longest,
                "chance": wait_chance(longest, 1 / kinds.size, of_run),
            }
        )
    table = pd.DataFrame(rows)
    worst = table.loc[table["longest"].idxmax()]
    # Many kinds are looked at: the rarest of k waits.
    any_kind = 1 - (1 - worst["chance"]) ** kinds.size
    verdict = "no longer than dice may bring" if any_kind > 0.05 else "longer than dice would bring"
    sentence = (
        f"The longest wait was {counted(worst['longest'], 'piece')} without a {worst['label']} among "
        f"{counted(kind.size, 'piece')}: {verdict} (chance {amount(any_kind)})."
    )
    return LONGEST_WAIT.finding(basis, sentence, tables={"pieces": table})


def _pace(piece: Columns, basis: Basis) -> Finding:
    frame = pd.DataFrame(
        {
            "player": piece["player"],
            "level": np.nan_to_num(piece["level"], nan=0.0).astype(int),
            "seconds": piece["rest_us"].astype(float) / 1e6,
        }
    )
    frame = frame[frame["seconds"] > 0]
    rows = []
    for number, mine in frame.groupby("level"):
        mean = _mean_of_medians(mine)
        rows.append(
            {
                "level": number,
                "pieces": len(mine),
                "players": mine["player"].nunique(),
                **estimate_cells("seconds", mean),
            }
        )
    estimate = _mean_of_medians(frame).in_unit("s")
    sentence = (
        f"A piece takes {amount(estimate.value, 's')} from appearing to resting {limits(estimate)}, the mean of the "
        "players' medians."
    )
    return PACE.finding(basis, sentence, estimate, {"levels": rows})


def _mean_of_medians(frame: pd.DataFrame) -> Estimate:
    return mean_of_players(frame.groupby("player")["seconds"].median().to_numpy())
