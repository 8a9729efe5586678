"""What kills, and in which parts of the game."""

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import CAUSE, PART, Column, Declared, estimate_cells, estimate_columns
from analysis.findings.highest import against_rest, highest_part
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.proportions import share_by_player
from analysis.stats.rates import rate_by_player
from analysis.words import amount, as_often, capital, cause_name, counted, limits, listed, percent, stage_name

Array = np.ndarray
CAUSES = Declared(
    "deaths.causes",
    "deaths",
    "What kills",
    "share_by_player",
    {
        "causes": (
            *CAUSE,
            Column("deaths", "", "deaths of it"),
            *estimate_columns("share", "share", "of all deaths, those of it"),
            Column("players", "", "players who died of it"),
        )
    },
)
BY_STAGE = Declared(
    "deaths.by_stage",
    "deaths",
    "Deaths by stage",
    "rate_by_player",
    {
        "segments": (
            *PART,
            Column("deaths", "", "deaths in it"),
            Column("alive_s", "s", "time alive in it, of all players"),
            *estimate_columns("rate_per_min", "deaths a minute", "deaths in it over time alive in it"),
            Column("players", "", "players who were in it"),
        )
    },
)


def causes(death: Columns, basis: Basis) -> Finding:
    cause, player = death["cause"], death["player"]
    # The commonest first.
    number = pd.Series(cause).value_counts().sort_index().sort_values(ascending=False, kind="stable")
    shares = [share_by_player(cause == value, np.ones(cause.size), player) for value in number.index]
    rows = [
        {
            "cause": int(value),
            "label": cause_name(death["cause_label"][cause == value], value),
            "deaths": int(deaths),
            **estimate_cells("share", share),
            "players": int(np.unique(player[cause == value]).size),
        }
        for (value, deaths), share in zip(number.items(), shares, strict=True)
    ]
    total = counted(cause.size, "death")
    if not rows:
        return CAUSES.finding(basis, f"The game does not say of what its {total} were.", tables={"causes": rows})
    most, share = rows[0], shares[0]
    first = [row for row in rows if row["deaths"] == most["deaths"]]
    unknown = int(cause.size - number.sum())
    of_all = f"{percent(share.value)} of {total}"
    if len(first) > 1:
        sentence = f"{listed([str(row['label']) for row in first])} took {of_all} each {limits(share)}."
    else:
        sentence = (
            f"{most['label']} took {of_all} {limits(share)}"
            f", in {most['players']} of {counted(basis.players, 'player')}."
        )
    if unknown:
        sentence = f"{sentence[:-1]}; of {unknown} the game does not say what killed."
    doubtful = _may_be_chance(cause, player, number.index.to_numpy())
    headline = f"“{capital(str(most['label']))}” kills most: {percent(share.value)} of the deaths."
    if doubtful:
        headline = "No cause of death is shown to kill more than the others."
    if len(rows) == 1:
        headline = ""
    return CAUSES.finding(basis, sentence, share, {"causes": rows}, headline=headline, doubtful=doubtful)


def _may_be_chance(cause: Array, player: Array, commonest: Array) -> bool:
    """Whether the commonest cause may have been it by chance: compared with the next one, which all deaths of unknown
    cause may have been of too, and corrected for the causes that it was picked of.
    """
    rivals = ~np.isfinite(cause) | np.isin(cause, commonest[1:2])
    if not rivals.any():
        return False
    both = rivals | (cause == commonest[0])
    level = 1 - (1 - LEVEL) / max(commonest.size - 1, 1)
    first = share_by_player(cause[both] == commonest[0], np.ones(int(both.sum())), player[both], level)
    return first.low is None or first.low <= 0.5


def by_stage(reader: Reader, selection: Selection, basis: Basis) -> Finding:
    visit = _visits(reader, selection)
    part, player = 2 * visit["stage"] + visit["stage_kind"], visit["player"]
    minutes = visit["alive_us"] / 60e6
    rows = []
    top = (0, 0)
    estimate: Estimate | None = None
    for stage, kind in sorted(set(zip(visit["stage"].tolist(), visit["stage_kind"].tolist(), strict=True))):
        mine = (visit["stage"] == stage) & (visit["stage_kind"] == kind)
        rate = rate_by_player(visit["deaths"][mine], minutes[mine], player[mine])
        row = {
            "stage": stage,
            "stage_kind": kind,
            "name": stage_name(stage, kind),
            "deaths": rate.events,
            "alive_s": 60 * rate.exposure,
            **estimate_cells("rate_per_min", rate),
            "players": rate.players,
        }
        rows.append(row)
        if rate.value is not None and (estimate is None or rate.value > (estimate.value or 0)):
            estimate, top = rate.in_unit("deaths a minute"), (stage, kind)
    tables = {"segments": rows}
    if estimate is None:
        return BY_STAGE.finding(basis, "No time alive was logged, so deaths have no rate.", tables=tables)
    name, rate_words, headline, doubtful = stage_name(*top), amount(estimate.value), "", False
    if len(rows) == 1:
        sentence = f"In {name} players die {rate_words} times a minute alive {limits(estimate)}."
    else:
        # The same players in both: only the better ones come to the later parts.
        highest = highest_part(visit["deaths"], minutes, part, 2 * top[0] + top[1], player)
        estimate = highest.rate(estimate)
        rate_words = amount(estimate.value)
        rest = against_rest(highest, "there", "elsewhere", f"{len(rows)} parts of the game")
        sentence = f"Deaths come fastest in {name}: {rate_words} a minute alive {limits(estimate)}{rest}."
        if highest.found is not None:
            doubtful = highest.doubtful
            headline = f"{capital(name)} is deadlier than the rest: players die {as_often(highest.ratio.value)} there."
            if doubtful:
                headline = "No part of the game is shown to be deadlier than the others."
    return BY_STAGE.finding(basis, sentence, estimate, tables, headline=headline, doubtful=doubtful)


def _visits(reader: Reader, selection: Selection) -> Columns:
    """The visits of the chosen stages."""
    visit = reader.ask_chosen("stage_visits", selection)
    keep = np.ones(visit["stage"].size, bool)
    if selection.stage is not None:
        keep &= visit["stage"] == selection.stage
    if selection.stage_kind is not None:
        keep &= visit["stage_kind"] == selection.stage_kind
    return visit.where(keep)
