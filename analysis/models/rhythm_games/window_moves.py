"""What of a rhythm game's judging is moved together: windows, input offset, windows about the presses."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.models.moves import Move, nearest
from analysis.models.setting import Setting
from analysis.models.targets import Changeable
from ingest.vocabulary import TunableRole

if TYPE_CHECKING:
    from analysis.models.rhythm_games.rhythm import RhythmModel

WINDOWS = (TunableRole.WINDOW_EARLY, TunableRole.WINDOW_LATE)


def window_moves(model: RhythmModel, wishes: Changeable) -> tuple[Move, ...]:
    """What is moved together: the windows of a song or of all; the input offset; and the windows about the place where
    presses really fall (by the offset, or by unequal edges where the offset may not be changed)."""
    allowed = {t.name: t for t in model.acting if wishes.allows(t.name, t.role)}
    limits = {name: wishes.range(name, t.role, t.low, t.high) for name, t in allowed.items()}
    for name, (low, high) in limits.items():
        # The window of a better grade lies inside: the hit's own window never becomes narrower than that.
        inner = [
            t.value
            for t in model.tunables
            if t.role == allowed[name].role in WINDOWS
            and t.value < allowed[name].value
            and t.grade is not None
            and (t.song, t.stage) == (allowed[name].song, allowed[name].stage)
        ]
        limits[name] = (max([low, *inner]), high)
    groups: dict[tuple[str, ...], list[int]] = {}
    for song in range(len(model.notes.songs)):
        rules = model.in_force(song, {})
        names = tuple(t.tunable if t is not None else "" for t in (rules.early, rules.late, rules.offset))
        groups.setdefault(names, []).append(song)
    unit_us = {t.tunable: t.unit_us for t in model.declared}
    moves: list[Move] = []

    def fitted(name: str, value_us: float) -> dict[str, int]:
        if name not in allowed:
            return {}
        return {name: nearest(allowed[name], value_us / unit_us[name], limits[name])}

    def around(names: tuple[str, ...], centre_us: float | None, song: int) -> list[Setting]:
        """Windows of every half-width about a centre; None: moved out and in as they are now."""
        rules = model.in_force(song, {})
        early, late, offset = rules.early_us, rules.late_us, rules.offset_us
        base: dict[str, int] = {}
        shift = 0.0
        if centre_us is not None:
            # On the scale of press - due the window's middle is offset + (late - early) / 2.
            away = centre_us - (offset + (late - early) / 2)
            base = fitted(names[2], offset + away)
            moved = base[names[2]] * unit_us[names[2]] - offset if base else 0.0
            shift = 0.0 if base else away - moved
        top = max([t.high * unit_us[t.name] for t in allowed.values() if t.role in WINDOWS], default=0.0)
        step = min([t.step * unit_us[t.name] for t in allowed.values() if t.role in WINDOWS], default=1000.0)
        step = max(step, top / 400)
        options: list[Setting] = []
        lowest = -min(early - shift, late + shift)
        for change in np.arange(np.ceil(lowest / step), np.floor(max(top - min(early, late), 0) / step) + 1) * step:
            setting = base | fitted(names[0], early - shift + change) | fitted(names[1], late + shift + change)
            if not options or setting != options[-1]:
                options.append(setting)
        return options

    for names, songs in groups.items():
        label = "" if len(groups) == 1 else " of " + ", ".join(model.notes.songs[s] for s in songs)
        weight = model.song_share[songs]
        centre = float(np.average([model.centre_us(s) for s in songs], weights=weight if weight.sum() else None))
        if names[0] in allowed or names[1] in allowed:
            moves.append(Move("windows" + label, tuple(around(names, None, songs[0]))))
            moves.append(Move("windows about the presses" + label, tuple(around(names, centre, songs[0]))))
        if names[2] in allowed:
            own = allowed[names[2]]
            low, high = limits[names[2]]
            values = [v for v in own.holdable if low <= v <= high]
            stride = max(1, len(values) // 400)
            options = sorted({*values[::stride], own.value})
            moves.append(Move("input offset" + label, tuple({own.name: v} for v in options)))
    if len(groups) > 1:
        joint = _joint([list(move.options) for move in moves if move.name.startswith("windows of")])
        if joint:
            moves.append(Move("windows of all songs", joint))
    unique = {tuple(map(str, move.options)): move for move in moves if len(move.options) > 1}
    return tuple(unique.values())


def _joint(each: list[list[Setting]]) -> tuple[Setting, ...]:
    """All groups' windows moved out and in together, end to end of their ranges."""
    if len(each) < 2:
        return ()
    most = max(len(options) for options in each)
    options: list[Setting] = []
    for x in np.linspace(0, 1, most):
        merged: dict[str, int] = {}
        for own in each:
            merged |= own[round(x * (len(own) - 1))]
        options.append(merged)
    return tuple(options)
