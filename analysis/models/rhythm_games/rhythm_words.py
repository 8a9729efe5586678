"""The words about a rhythm game's proposal: what carries it, what else changes, what is assumed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.levers import lever_of
from analysis.models.data import Tunable
from analysis.models.setting import Setting

if TYPE_CHECKING:
    from analysis.models.rhythm_games.rhythm import RhythmModel


def carried_by(model: RhythmModel, tunable: Tunable) -> str:
    """What the effect of a window or an offset rests on."""
    pressed = int(model.notes.pressed.sum())
    if model.cut:
        return (
            f"partly assumed: only the {pressed} presses inside the window were logged; what lies outside follows"
            " from the shape of the rest"
        )
    lever = lever_of(tunable.role)
    return lever.carried_by(None, f"{pressed} presses of {model.players} players") if lever else ""


def side_effects(model: RhythmModel, setting: Setting) -> Mapping[str, Any]:
    """Each song's hit shares, how far presses fall from the window's middle, and its width; now and as proposed."""
    effects: dict[str, Any] = {}
    for when, values in (("now", {}), ("proposed", dict(setting))):
        songs = {}
        for song, name in enumerate(model.notes.songs):
            rules = model.in_force(song, values)
            middle = rules.offset_us + (rules.late_us - rules.early_us) / 2
            share = model.song_hits(song, 1, rules, False)
            songs[name] = {
                "hit_share_median_player": float(np.median(np.median(share, axis=1))),
                "hit_share_lower_quarter": float(np.median(np.quantile(share, 0.25, axis=1))),
                "presses_off_centre_ms": (model.centre_us(song) - middle) / 1000,
                "window_ms": (rules.early_us + rules.late_us) / 1000,
            }
        effects[when] = {"songs": songs}
    return effects


def assumptions(model: RhythmModel) -> tuple[str, ...]:
    """What the model takes for granted."""
    said = [
        "bias, log spread and logit of lapses are jointly normal over players; songs shift them, with shrinkage",
        "hands do not change with the window: a player who sees more hits plays on in the same way",
    ]
    if model.cut:
        said.append("errors outside the logged window follow Student's t with the spread of those inside")
    return tuple(said)


def cautions(model: RhythmModel) -> tuple[str, ...]:
    """What the fit itself warns of."""
    said = []
    if model.cut:
        said.append(
            "only presses inside the window seem to be logged: log every press, hit or not, and play once more"
            " before trusting a wider window"
        )
    if model.posterior.split > 1.2:
        said.append("the fit has not settled (the data contradict themselves or are very few): take figures as rough")
    poll = model.notes.poll_us[np.isfinite(model.notes.poll_us)]
    if len(poll):
        said += [
            f"the window of {name} ({(rules.early_us + rules.late_us) / 1000:.0f} ms) is narrower than the polling"
            " period"
            for song, name in enumerate(model.notes.songs)
            if (rules := model.in_force(song, {})).early_us + rules.late_us < float(np.median(poll))
        ]
    return tuple(said)
