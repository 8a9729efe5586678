"""Which window and input offset give the hit share the designers want: predictions for players not yet seen."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
from scipy import special, stats

from analysis.stats.timed_notes import TimedNotes
from analysis.stats.truncation import edge_checks
from analysis.stats.window_settings import InForce, TimingTunable, in_force
from analysis.tuning.data import Build, Tunable
from analysis.tuning.observed import Observed, statistic
from analysis.tuning.proposal import Change, Proposal
from analysis.tuning.propose import Describer, propose
from analysis.tuning.search import Lever, nearest
from analysis.tuning.setting import Setting
from analysis.tuning.targets import Levers, Outcome, Population, Statistic, Target
from analysis.tuning.timing_model import LoggedNotes, fit

NEW_PLAYERS, QUICK_PLAYERS, QUICK_DRAWS = 256, 128, 60
# With fewer players new to the game, only the normal distribution speaks of those not yet seen.
FEWEST_SEEN = 4
METHOD = "timing.proposal"
_WINDOWS = ("window_early", "window_late")


class RhythmModel:
    """A fitted model of the players' hands with the console's own judging: what `propose` asks of a model."""

    roles = (*_WINDOWS, "input_offset")

    def __init__(
        self, notes: TimedNotes, tunables: Sequence[TimingTunable], build: str, cut: bool, seed: int = 1
    ):
        """tunables: those of the build to be changed. cut: the console logs only presses inside its window."""
        self.notes, self.cut, self.seed = notes, cut, seed
        self._declared = [t for t in tunables if np.isfinite(t.unit_us) and t.unit_us > 0]
        self.tunables = tuple(_as_tunable(t) for t in self._declared)
        self.build = Build(build, "", self.tunables)
        self.posterior = fit(_logged(notes, cut), seed)
        self._nodes = _normal_nodes(NEW_PLAYERS, 4)
        self._seen = _resampled(
            ~np.array(notes.experienced, bool), len(self.posterior.mean), NEW_PLAYERS, seed
        )
        self._places: dict[int, dict[str, Any]] = {}
        self._hands: dict[tuple[int, int, bool], tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
        new = ~np.array(notes.experienced)[notes.player] & (notes.attempt == 1)
        played = np.bincount(notes.song[new if new.any() else slice(None)], minlength=len(notes.songs))
        self.song_share = played / played.sum()
        run = np.unique(notes.run, return_inverse=True)[1]
        self.notes_a_run = max(1.0, float(np.median(np.bincount(run))))

    def knows(self, target: Target) -> bool:
        """Hit shares of all songs or of one that was played."""
        return target.outcome == Outcome.HIT_SHARE and (
            target.song is None or target.song in self.notes.song_numbers
        )

    def in_force(self, song: int, setting: Setting) -> InForce:
        """The tunables that hold for a song under `setting`."""
        changed = [replace(t, value=int(setting.get(t.tunable, t.value))) for t in self._declared]
        stage, kind = self.notes.song_places[song]
        return in_force(changed, stage, kind, self.notes.song_numbers[song])

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        """(targets, draws) of each target's figure among new players under `setting`."""
        return np.stack([self._figure(setting, target, quick) for target in targets])

    def shares(self, setting: Setting, target: Target, quick: bool = False) -> np.ndarray:
        """(draws, players) the hit share that each of many new players would show in such a run."""
        songs = (
            range(len(self.notes.songs))
            if target.song is None
            else [self.notes.song_numbers.index(target.song)]
        )
        weight = self.song_share[list(songs)]
        weight = weight / weight.sum() if weight.sum() else np.full(len(weight), 1 / len(weight))
        attempts = (
            [target.attempt] if target.population == Population.ATTEMPT else range(1, target.attempts + 1)
        )
        total = 0.0
        for attempt in attempts:
            for song, w in zip(songs, weight, strict=True):
                total = total + w / len(attempts) * self._song_share(
                    song, attempt, self.in_force(song, setting), quick
                )
        share = np.clip(np.asarray(total), 0, 1)
        # One run holds so many notes: the share seen scatters about the player's own.
        counted = (
            self.notes_a_run
            * len(attempts)
            * (1 if target.song is None else float(weight_of(self, target.song)))
        )
        noise = self._nodes[: share.shape[1], 3] * np.sqrt(share * (1 - share) / max(counted, 10.0))
        return np.clip(share + noise, 0, 1)

    def _song_share(self, song: int, attempt: int, rules: InForce, quick: bool) -> np.ndarray:
        mu, per_sigma, present = self._hands_of(song, attempt, quick)
        low, high = (rules.offset_us - rules.early_us) / 1000, (rules.offset_us + rules.late_us) / 1000
        z, cdf = self.posterior.shape_z, self.posterior.shape_cdf
        inside = np.interp((high - mu) * per_sigma, z, cdf) - np.interp((low - mu) * per_sigma, z, cdf)
        return present * np.maximum(inside, 0)

    def _hands_of(self, song: int, attempt: int, quick: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(bias in ms, 1 / spread, chance of a press) of new players on a song, each (draws, players)."""
        key = (song, attempt, quick)
        if key not in self._hands:
            p = self.posterior
            draws = (
                np.linspace(0, len(p.mean) - 1, QUICK_DRAWS).astype(int) if quick else np.arange(len(p.mean))
            )
            nodes = self._nodes[: QUICK_PLAYERS if quick else NEW_PLAYERS, :3]
            person = p.mean[draws, None, :] + np.einsum("dij,nj->dni", p.root[draws], nodes)
            if self._seen is not None:
                # Two views of those not yet seen, a draw each in turn: normal, and like the players seen.
                odd = draws[draws % 2 == 1]
                person[draws % 2 == 1] = p.players[odd[:, None], self._seen[odd, : len(nodes)]]
            person = person + p.song[draws, None, song, :]
            practice = p.learning[draws, :] * np.log(attempt)
            self._hands[key] = (
                person[..., 0],
                np.exp(-person[..., 1] - practice[:, None, 0]),
                special.expit(-person[..., 2] - practice[:, None, 1]),
            )
        return self._hands[key]

    def _figure(self, setting: Setting, target: Target, quick: bool) -> np.ndarray:
        share = self.shares(setting, target, quick)
        if target.statistic == Statistic.MEAN:
            return share.mean(axis=1)
        return np.quantile(share, target.quantile if target.quantile is not None else 0.5, axis=1)

    def centre_us(self, song: int) -> float:
        """Where new players' presses on a song are centred, against the notes."""
        return 1000 * float(np.median(self.posterior.mean[:, 0] + self.posterior.song[:, song, 0]))


def propose_windows(
    notes: TimedNotes,
    tunables: Sequence[TimingTunable],
    targets: Sequence[Target],
    wishes: Levers,
    game: str,
    build: str,
    cut: bool | None = None,
    warnings: Sequence[str] = (),
    tick: Callable[[], None] | None = None,
    seed: int = 1,
) -> list[Proposal]:
    """Ranked proposals for the `hit_share` targets of a rhythm game; none where no target speaks of hits.

    notes: all timed notes of the game, any build: hands do not know the window. tunables: of the build to be changed.
    cut: the console logs only presses inside its window; None: as stats.truncation finds. Windows scoped by song: a
    target for all songs then counts for each song too. Raises ValueError where no press lies near any note.
    """
    wanted = [t for t in targets if t.outcome == Outcome.HIT_SHARE]
    if not wanted:
        return []
    if cut is None:
        cut = any(check.cut for check in edge_checks(notes).values())
    model = RhythmModel(notes, tunables, build, cut, seed)
    levers = window_levers(model, wishes)
    wanted = [t for t in wanted if model.knows(t)] + _for_each_song(model, wanted)
    return propose(
        model, wanted, wishes, lambda t: observed_hits(notes, build, t), RhythmWords(), METHOD, len(notes.players),
        notes.player_runs, game, [*warnings, *_cautions(model)], tick, levers=levers,
    )  # fmt: skip


def window_levers(model: RhythmModel, wishes: Levers) -> tuple[Lever, ...]:
    """What is moved together: the windows of a song or of all; the input offset; and the windows about the place where
    presses really fall (by the offset, or by unequal edges where the offset may not be changed)."""
    allowed = {t.name: t for t in model.tunables if t.role in model.roles and wishes.allows(t.name, t.role)}
    limits = {name: wishes.range(name, t.role, t.low, t.high) for name, t in allowed.items()}
    for name, (low, high) in limits.items():
        # The window of a better grade lies inside: the hit's own window never becomes narrower than that.
        inner = [
            t.value for t in model.tunables
            if t.role == allowed[name].role in _WINDOWS and t.value < allowed[name].value
            and t.grade is not None and (t.song, t.stage) == (allowed[name].song, allowed[name].stage)
        ]  # fmt: skip
        limits[name] = (max([low, *inner]), high)
    groups: dict[tuple[str, ...], list[int]] = {}
    for song in range(len(model.notes.songs)):
        rules = model.in_force(song, {})
        names = tuple(t.tunable if t is not None else "" for t in (rules.early, rules.late, rules.offset))
        groups.setdefault(names, []).append(song)
    unit_us = {t.tunable: t.unit_us for t in model._declared}
    levers: list[Lever] = []

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
        top = max([t.high * unit_us[t.name] for t in allowed.values() if t.role in _WINDOWS], default=0.0)
        step = min([t.step * unit_us[t.name] for t in allowed.values() if t.role in _WINDOWS], default=1000.0)
        step = max(step, top / 400)
        options: list[Setting] = []
        lowest = -min(early - shift, late + shift)
        for change in (
            np.arange(np.ceil(lowest / step), np.floor(max(top - min(early, late), 0) / step) + 1) * step
        ):
            setting = (
                base | fitted(names[0], early - shift + change) | fitted(names[1], late + shift + change)
            )
            if not options or setting != options[-1]:
                options.append(setting)
        return options

    for names, songs in groups.items():
        label = "" if len(groups) == 1 else " of " + ", ".join(model.notes.songs[s] for s in songs)
        weight = model.song_share[songs]
        centre = float(
            np.average([model.centre_us(s) for s in songs], weights=weight if weight.sum() else None)
        )
        if names[0] in allowed or names[1] in allowed:
            levers.append(Lever("windows" + label, tuple(around(names, None, songs[0]))))
            levers.append(Lever("windows about the presses" + label, tuple(around(names, centre, songs[0]))))
        if names[2] in allowed:
            own = allowed[names[2]]
            low, high = limits[names[2]]
            values = [v for v in own.holdable if low <= v <= high]
            stride = max(1, len(values) // 400)
            options = sorted({*values[::stride], own.value})
            levers.append(Lever("input offset" + label, tuple({own.name: v} for v in options)))
    if len(groups) > 1:
        joint = _joint([list(lever.options) for lever in levers if lever.name.startswith("windows of")])
        if joint:
            levers.append(Lever("windows of all songs", joint))
    unique = {tuple(map(str, lever.options)): lever for lever in levers if len(lever.options) > 1}
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


def weight_of(model: RhythmModel, number: int) -> float:
    """Share of a run's notes that belong to one song."""
    return float(model.song_share[model.notes.song_numbers.index(number)]) or 1.0 / len(model.notes.songs)


def observed_hits(notes: TimedNotes, build: str, target: Target) -> Observed:
    """What players new to the game showed for a hit share on the build to be changed."""
    chosen = ~np.array(notes.experienced)[notes.player] & np.isfinite(notes.early_us)
    chosen &= notes.build == (notes.builds.index(build) if build in notes.builds else -1)
    if target.population == Population.ATTEMPT:
        chosen &= notes.attempt == target.attempt
    else:
        chosen &= notes.attempt <= (target.attempts if target.population == Population.NEW_PLAYERS else 1)
    if target.song is not None:
        chosen &= notes.song == notes.song_numbers.index(target.song)
    if not chosen.any():
        return Observed(None, 0, 0)
    player = np.unique(notes.player[chosen], return_inverse=True)[1].reshape(-1)
    share = np.bincount(player, notes.hit[chosen]) / np.bincount(player)
    return Observed(statistic(share, target), len(share), len(np.unique(notes.run[chosen])))


class RhythmWords(Describer):
    """What carries a window's or an offset's effect, and what else changes."""

    def carried_by(self, model: RhythmModel, changes: Sequence[Change]) -> Mapping[str, str]:
        pressed = int(model.notes.pressed.sum())
        said = f"data: {pressed} presses of {len(model.notes.players)} players, inside and outside the window"
        if model.cut:
            said = (
                f"partly assumed: only the {pressed} presses inside the window were logged; what lies outside follows"
                " from the shape of the rest"
            )
        return {change.tunable: said for change in changes}

    def side_effects(self, model: RhythmModel, setting: Setting) -> Mapping[str, Any]:
        effects: dict[str, Any] = {}
        for when, values in (("now", {}), ("proposed", dict(setting))):
            songs = {}
            for song, name in enumerate(model.notes.songs):
                rules = model.in_force(song, values)
                middle = rules.offset_us + (rules.late_us - rules.early_us) / 2
                share = model._song_share(song, 1, rules, False)
                songs[name] = {
                    "hit_share_median_player": float(np.median(np.median(share, axis=1))),
                    "hit_share_lower_quarter": float(np.median(np.quantile(share, 0.25, axis=1))),
                    "presses_off_centre_ms": (model.centre_us(song) - middle) / 1000,
                    "window_ms": (rules.early_us + rules.late_us) / 1000,
                }
            effects[when] = {"songs": songs}
        return effects

    def assumptions(self, model: RhythmModel) -> tuple[str, ...]:
        said = [
            "bias, log spread and logit of lapses are jointly normal over players; songs shift them, with shrinkage",
            "hands do not change with the window: a player who sees more hits plays on in the same way",
        ]
        if model.cut:
            said.append("errors outside the logged window follow Student's t with the spread of those inside")
        return tuple(said)


def _cautions(model: RhythmModel) -> list[str]:
    said = []
    if model.cut:
        said.append(
            "only presses inside the window seem to be logged: log every press, hit or not, and play once more"
            " before trusting a wider window"
        )
    if model.posterior.split > 1.2:
        said.append(
            "the fit has not settled (the data contradict themselves or are very few): take figures as rough"
        )
    poll = model.notes.poll_us[np.isfinite(model.notes.poll_us)]
    if len(poll):
        said += [
            f"the window of {name} ({(rules.early_us + rules.late_us) / 1000:.0f} ms) is narrower than the polling"
            " period"
            for song, name in enumerate(model.notes.songs)
            if (rules := model.in_force(song, {})).early_us + rules.late_us < float(np.median(poll))
        ]
    return said


def _for_each_song(model: RhythmModel, targets: Sequence[Target]) -> list[Target]:
    """Where each song has windows of its own, a wish for all songs is one for each of them too."""
    groups = {
        tuple(t.tunable if t is not None else "" for t in (rules.early, rules.late))
        for song in range(len(model.notes.songs))
        if (rules := model.in_force(song, {}))
    }
    if len(groups) < 2:
        return []
    named = {t.song for t in targets}
    return [
        replace(
            t,
            song=number,
            name=f"{t.name} ({model.notes.songs[song]})",
            weight=t.weight / len(model.notes.songs),
        )
        for t in targets
        if t.song is None
        for song, number in enumerate(model.notes.song_numbers)
        if number not in named
    ]


def _logged(notes: TimedNotes, cut: bool) -> LoggedNotes:
    """In ms. Where the console cuts, a press was logged in the window in force only; else within the reach."""
    low, high = np.full(len(notes), -np.inf), np.full(len(notes), np.inf)
    error = notes.error_us / 1000
    if cut:
        low = np.where(np.isfinite(notes.early_us), notes.offset_us - notes.early_us, -np.inf) / 1000
        high = np.where(np.isfinite(notes.late_us), notes.offset_us + notes.late_us, np.inf) / 1000
        error = np.where((error >= low) & (error <= high), error, np.nan)
    reach = notes.reach_us / 1000
    middle = float(np.nanmedian(error)) if np.isfinite(error).any() else 0.0
    return LoggedNotes(
        notes.player, notes.song, notes.attempt, error,
        np.maximum(low, middle - reach), np.minimum(high, middle + reach),
        len(notes.players), len(notes.songs), np.array(notes.experienced),
    )  # fmt: skip


def _resampled(new: np.ndarray, draws: int, count: int, seed: int) -> np.ndarray | None:
    """(draws, count) players seen, drawn with weights from a flat Dirichlet distribution: Rubin 1981, The Bayesian
    bootstrap, Ann. Stat. 9:130-134. None below FEWEST_SEEN new players."""
    seen = np.flatnonzero(new)
    if len(seen) < FEWEST_SEEN:
        return None
    rng = np.random.default_rng(seed)
    upto = np.cumsum(rng.dirichlet(np.ones(len(seen)), draws), axis=1)
    # Evenly spread over each draw's weights, in random order: as many as the weight says, with no noise on top.
    at = (rng.permuted(np.tile(np.arange(count), (draws, 1)), axis=1) + 0.5) / count
    return seen[np.minimum((at[:, :, None] > upto[:, None, :]).sum(axis=2), len(seen) - 1)]


@cache
def _normal_nodes(count: int, dimensions: int) -> np.ndarray:
    """Evenly spread points of a standard normal distribution: Sobol's sequence, scrambled with a fixed seed."""
    points = stats.qmc.Sobol(dimensions, scramble=True, seed=7).random(count)
    return stats.norm.ppf(np.clip(points, 1e-6, 1 - 1e-6))


def _as_tunable(t: TimingTunable) -> Tunable:
    return Tunable(
        t.tunable,
        t.role,
        t.value,
        t.low,
        t.high,
        max(1, t.step),
        t.unit,
        t.stage,
        t.stage_kind,
        t.song,
        None,
        t.grade,
    )
