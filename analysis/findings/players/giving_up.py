"""Who gives up, and after what."""

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import SOON_S, Basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.proportions import share_by_player
from analysis.words import capital, counted, limits, percent

QUITS = Declared(
    "players.quits",
    "players",
    "Who gives up, and after what",
    "share_by_player",
    {
        "players": (
            Column("player", "", "who"),
            Column("runs", "", "the player's runs whose end is in the log"),
            Column("quits", "", "of these, those that were given up"),
        ),
        "quits": (
            Column("run_id", "", "the run that was given up"),
            Column("player", "", "by whom"),
            Column("attempt", "", "which of the player's attempts it was"),
            Column("stage", "", "number of the stage in which it was given up"),
            Column("stage_kind", "", "0 regular, 1 boss"),
            Column("deaths", "", "deaths in the run"),
            Column("deaths_here", "", "deaths in that stage"),
            Column("since_death_s", "s", "from the last death to giving up"),
        ),
        "after": (
            Column("deaths_in_row", "", "which death in a row at one stage; 3 is the third or a later one"),
            Column("deaths", "", "such deaths after which the player could go on or give up"),
            Column("quits", "", "those after which the run was given up"),
            *estimate_columns("share", "share", "those over such deaths"),
        ),
    },
)


def find(reader: Reader, selection: Selection, basis: Basis) -> Finding:
    """One finding, also where nobody gave up."""
    run = reader.ask_chosen("quits", selection)
    given_up = run["ending"] == "quit"
    player = run["player"]
    names = ("run_id", "player", "attempt", "stage", "stage_kind", "deaths", "deaths_here", "since_death_s")
    table = pd.DataFrame({name: run[name][given_up] for name in names})
    # Whether a run that was cut would have been given up, nobody knows.
    ended = run["ending"] != "cut"
    by_player = pd.DataFrame({"player": player[ended], "runs": 1, "quits": given_up[ended].astype(int)})
    who = by_player.groupby("player").sum().reset_index()
    share = share_by_player(given_up[ended], np.ones(int(ended.sum())), player[ended])
    after = _after_deaths(run, reader.ask_chosen("deaths", selection))
    tables = {"players": who, "quits": table, "after": after}
    runs = counted(int(ended.sum()), "run") + ("" if ended.all() else " whose end is in the log")
    if share.value is None:
        sentence = f"The log holds no end of {counted(basis.runs, 'run')}, so nobody knows who gave up."
        return QUITS.finding(basis, sentence, None, tables)
    if not given_up.any():
        sentence = f"Nobody gave up in {runs}: 0 % {limits(share)}."
        headline = f"Nobody gave up in {runs}."
        return QUITS.finding(
            basis, sentence, share, tables, headline=headline, players=share.players, runs=share.trials
        )
    people = counted(int((who["quits"] > 0).sum()), "player")
    one = len(table) == 1
    sentence = f"{len(table)} of {runs} {'was' if one else 'were'} given up {limits(share)}, by {people}"
    if "death" in basis.roles:
        soon, stuck = int((table["since_death_s"] < SOON_S).sum()), int((table["deaths_here"] >= 2).sum())
        sentence += (
            f"; {soon} of these runs within {SOON_S:.0f} s of a death, {stuck} after two or more deaths in one stage"
        )
    of = "the runs" if ended.all() else "the runs with an end"
    headline = f"{capital(percent(share.value))} of {of} are given up."
    return QUITS.finding(
        basis, f"{sentence}.", share, tables, headline=headline, players=share.players, runs=share.trials
    )


def _after_deaths(run: Columns, death: Columns) -> pd.DataFrame:
    """How often a death was a run's last before it was given up, by the number of deaths in a row at that stage."""
    frame = pd.DataFrame({name: death[name] for name in ("run_id", "stage", "stage_kind", "player")})
    # Deaths outside stages are none in a row: nothing says that they were at one place.
    place = frame[["run_id", "stage", "stage_kind"]]
    frame["nth"] = place.groupby((place != place.shift()).any(axis=1).cumsum()).cumcount() + 1
    last = frame["run_id"] != frame["run_id"].shift(-1)
    ending = frame["run_id"].map(pd.Series(run["ending"], index=run["run_id"]))
    frame["quits"] = last & (ending == "quit")
    # The death that ended the game, or after which the log was cut, left no choice to give up.
    frame = frame[~last | ending.isin(["quit", "finished"])]
    rows = []
    for number in (1, 2, 3):
        mine = frame[np.minimum(frame["nth"], 3) == number]
        quits, player = mine["quits"].to_numpy(bool), mine["player"].to_numpy().astype(str)
        share = share_by_player(quits, np.ones(quits.size), player)
        rows.append(
            {"deaths_in_row": number, "deaths": quits.size, "quits": int(quits.sum()), **estimate_cells("share", share)}
        )
    return pd.DataFrame(rows)
