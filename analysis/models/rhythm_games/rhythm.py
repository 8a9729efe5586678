"""A fitted model of players' hands with the console's own judging: the hit share of players not yet seen."""

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from scipy import special

from analysis.levers import edge_levers
from analysis.models.audience import LIKE_TESTERS, Shift
from analysis.models.data import Build, Tunable
from analysis.models.fitted import AS_THEY_ARE, Fitted
from analysis.models.fitting.sampling import Sampling, bayesian_bootstrap, normal_nodes
from analysis.models.moves import Move
from analysis.models.observed import Observed, observed_hits
from analysis.models.rhythm_games import rhythm_words
from analysis.models.rhythm_games.hands import HandsPriors, LoggedNotes
from analysis.models.rhythm_games.hands_sampler import fit
from analysis.models.rhythm_games.window_moves import window_moves
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Outcome, Statistic, Target, attempts_of
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.stats.rhythm.truncation import edge_checks, nothing_outside
from analysis.stats.rhythm.window_settings import InForce, TimingTunable, in_force
from ingest.vocabulary import TunableRole

NEW_PLAYERS, QUICK_PLAYERS, QUICK_DRAWS = 256, 128, 60
# With fewer players new to the game, only the normal distribution speaks of those not yet seen.
FEWEST_SEEN = 4
# The class's mean is less sure than a normal distribution of players says: people are skewed and have heavy tails. In
# the closed loop 80 % intervals without this held the outcome about 71 times in 100 (TIMING.md).
_DOUBT = 1.25
# What a shift of ln danger is to ln spread: as much less as players differ less in it (0.27 here, some 0.7 there).
_SPREAD = 0.4
# Where presses outside the window are withheld, hands are continued there by the fitted form alone. How far that may be
# out is a doubt in ln spread, common to the class: so much for each share of the notes of which nothing was logged.
_FORM_DOUBT = 0.2


class RhythmModel(Fitted):
    """A fitted model of the players' hands with the console's own judging."""

    method = "timing.proposal"
    roles = tuple(lever.role for lever in edge_levers())
    more = "its timing is an eighth less even and it leaves out a third more notes"
    less = "its timing is a seventh more even and it leaves out a third fewer notes"

    def __init__(
        self,
        notes: TimedNotes,
        tunables: Sequence[TimingTunable],
        build: str,
        cut: bool | None = None,
        seed: int = 1,
        priors: HandsPriors | None = None,
    ):
        """tunables: those of the build to be changed. cut: the console logs only presses inside its window; None: as
        rhythm.truncation finds, and where there is no other press. Raises ValueError where no press lies near any note.
        """
        if cut is None:
            cut = any(check.cut for check in edge_checks(notes).values()) or nothing_outside(notes)
        self.notes, self.cut, self.seed, self.shift = notes, cut, seed, LIKE_TESTERS
        self.declared = [t for t in tunables if np.isfinite(t.unit_us) and t.unit_us > 0]
        self._build = Build(build, "", tuple(_as_tunable(t) for t in self.declared))
        self.posterior = fit(_logged(notes, cut), seed, priors=priors)
        self._nodes = normal_nodes(NEW_PLAYERS, 4)
        seen, draws = np.flatnonzero(~np.array(notes.experienced, bool)), len(self.posterior.mean)
        few = len(seen) < FEWEST_SEEN
        self._seen = None if few else bayesian_bootstrap(seen, draws, NEW_PLAYERS, seed)
        withheld = float(np.mean(~np.isfinite(notes.error_us))) if cut else 0.0
        doubt = special.ndtri((np.arange(draws) + 0.5) / draws)
        self._form = _FORM_DOUBT * withheld * np.random.default_rng(seed).permutation(doubt)
        self._hands: dict[tuple[int, int, bool], tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
        new = ~np.array(notes.experienced)[notes.player] & (notes.attempt == 1)
        played = np.bincount(notes.song[new if new.any() else slice(None)], minlength=len(notes.songs))
        self.song_share = played / played.sum()
        run = np.unique(notes.run, return_inverse=True)[1]
        self.notes_a_run = max(1.0, float(np.median(np.bincount(run))))

    @property
    def build(self) -> Build:
        return self._build

    @property
    def players(self) -> int:
        return len(self.notes.players)

    @property
    def runs(self) -> int:
        return self.notes.player_runs

    @property
    def sampling(self) -> Sampling:
        return self.posterior.sampling

    def observed(self, target: Target) -> Observed:
        return observed_hits(self.notes, self._build.label, target)

    def asked(self, targets: Sequence[Target]) -> list[Target]:
        known = super().asked(targets)
        return known + _for_each_song(self, known)

    def moves(self, wishes: Changeable, targets: Sequence[Target]) -> tuple[Move, ...]:
        return window_moves(self, wishes)

    def carried_by(self, tunable: Tunable) -> str:
        return rhythm_words.carried_by(self, tunable)

    def side_effects(self, setting: Setting) -> Mapping[str, Any]:
        return rhythm_words.side_effects(self, setting)

    def assumptions(self) -> tuple[str, ...]:
        return rhythm_words.assumptions(self)

    def cautions(self) -> tuple[str, ...]:
        return rhythm_words.cautions(self)

    def otherwise(self) -> Mapping[str, Callable[[], Fitted]]:
        plain = HandsPriors()
        cases = {
            AS_THEY_ARE: plain,
            "practice helps nobody": replace(plain, learning=np.zeros(2), learning_sd=np.full(2, 0.02)),
            "players may differ twice as much": replace(plain, between=2 * plain.between),
            "songs are nearly alike": replace(plain, song_sd=plain.song_sd / 5),
            "anything may be expected of a new player": replace(plain, mean_sd=3 * plain.mean_sd),
        }
        return {words: partial(self._under, priors) for words, priors in cases.items()}

    def _under(self, priors: HandsPriors) -> "RhythmModel":
        again = RhythmModel(self.notes, self.declared, self._build.label, self.cut, self.seed, priors)
        return again.for_audience(self.shift)

    def for_audience(self, shift: Shift) -> "RhythmModel":
        other = copy(self)
        other.shift, other._hands = shift, {}
        return other

    def knows(self, target: Target) -> bool:
        """Hit shares of all songs or of one that was played."""
        return target.outcome == Outcome.HIT_SHARE and (target.song is None or target.song in self.notes.song_numbers)

    def in_force(self, song: int, setting: Setting) -> InForce:
        """The tunables that hold for a song under `setting`."""
        changed = [replace(t, value=int(setting.get(t.tunable, t.value))) for t in self.declared]
        stage, kind = self.notes.song_places[song]
        return in_force(changed, stage, kind, self.notes.song_numbers[song])

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        return np.stack([self._figure(setting, target, quick) for target in targets])

    def shares(self, setting: Setting, target: Target, quick: bool = False) -> np.ndarray:
        """(draws, players) the hit share that each of many new players would show in such a run."""
        songs = range(len(self.notes.songs)) if target.song is None else [self.notes.song_numbers.index(target.song)]
        weight = self.song_share[list(songs)]
        weight = weight / weight.sum() if weight.sum() else np.full(len(weight), 1 / len(weight))
        attempts = attempts_of(target)
        total = 0.0
        for attempt in attempts:
            for song, w in zip(songs, weight, strict=True):
                total = total + w / len(attempts) * self.song_hits(song, attempt, self.in_force(song, setting), quick)
        share = np.clip(np.asarray(total), 0, 1)
        # One run holds so many notes: the share seen scatters about the player's own.
        counted = self.notes_a_run * len(attempts) * (1 if target.song is None else float(weight_of(self, target.song)))
        noise = self._nodes[: share.shape[1], 3] * np.sqrt(share * (1 - share) / max(counted, 10.0))
        return np.clip(share + noise, 0, 1)

    def song_hits(self, song: int, attempt: int, rules: InForce, quick: bool) -> np.ndarray:
        """(draws, players) chance that new players hit a note of a song under the tunables in force."""
        mu, per_sigma, present = self._hands_of(song, attempt, quick)
        low, high = (edge / 1000 for edge in edges_us(rules))
        z, cdf = self.posterior.shape_z, self.posterior.shape_cdf
        inside = np.interp((high - mu) * per_sigma, z, cdf) - np.interp((low - mu) * per_sigma, z, cdf)
        return present * np.maximum(inside, 0)

    def _hands_of(self, song: int, attempt: int, quick: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(bias in ms, 1 / spread, chance of a press) of new players on a song, each (draws, players)."""
        key = (song, attempt, quick)
        if key not in self._hands:
            p = self.posterior
            draws = np.linspace(0, len(p.mean) - 1, QUICK_DRAWS).astype(int) if quick else np.arange(len(p.mean))
            nodes = self._nodes[: QUICK_PLAYERS if quick else NEW_PLAYERS, :3]
            level = p.mean.mean(axis=0)
            wide = level + _DOUBT * (p.mean[draws] - level)
            person = wide[:, None, :] + np.einsum("dij,nj->dni", p.root[draws], nodes)
            if self._seen is not None:
                # Two views of those not yet seen, a draw each in turn: normal, and like the players seen.
                odd = draws[draws % 2 == 1]
                person[draws % 2 == 1] = p.players[odd[:, None], self._seen[odd, : len(nodes)]]
            person = person + p.song[draws, None, song, :]
            moved = p.learning[draws, :] * np.log(attempt)
            moved = moved + np.outer(self.shift.draws(len(p.mean))[draws], [_SPREAD, 1.0])
            self._hands[key] = (
                person[..., 0],
                np.exp(-person[..., 1] - self._form[draws, None] - moved[:, None, 0]),
                special.expit(-person[..., 2] - moved[:, None, 1]),
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


def edges_us(rules: InForce) -> tuple[float, float]:
    """The early and the late edge of the window in which a press counts, on the scale of press - due."""
    values = {
        TunableRole.WINDOW_EARLY: rules.early_us,
        TunableRole.WINDOW_LATE: rules.late_us,
        TunableRole.INPUT_OFFSET: rules.offset_us,
    }
    moved = [(lever.early_edge, lever.late_edge, values[lever.role]) for lever in edge_levers()]
    return sum(early * value for early, _, value in moved if early), sum(
        late * value for _, late, value in moved if late
    )


def weight_of(model: RhythmModel, number: int) -> float:
    """Share of a run's notes that belong to one song."""
    return float(model.song_share[model.notes.song_numbers.index(number)]) or 1.0 / len(model.notes.songs)


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
        replace(t, song=number, name=f"{t.name} ({model.notes.songs[song]})", weight=t.weight / len(model.notes.songs))
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
        notes.player,
        notes.song,
        notes.attempt,
        error,
        np.maximum(low, middle - reach),
        np.minimum(high, middle + reach),
        len(notes.players),
        len(notes.songs),
        np.array(notes.experienced),
    )


def _as_tunable(t: TimingTunable) -> Tunable:
    return Tunable(
        t.tunable, t.role, t.value, t.low, t.high, max(1, t.step), t.unit, t.stage, t.stage_kind, t.song, None, t.grade
    )
