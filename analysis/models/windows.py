"""Which window and input offset give the hit share the designers want."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from analysis.models.observed import Observed, statistic
from analysis.models.rhythm import RhythmModel
from analysis.models.rhythm_words import RhythmWords, cautions
from analysis.models.targets import Levers, Outcome, Population, Target
from analysis.models.window_moves import window_levers
from analysis.stats.timed_notes import TimedNotes
from analysis.stats.truncation import edge_checks
from analysis.stats.window_settings import TimingTunable
from analysis.tuning.proposal import Proposal
from analysis.tuning.ranking import propose

METHOD = "timing.proposal"


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
        notes.player_runs, game, [*warnings, *cautions(model)], tick, levers=levers,
    )  # fmt: skip


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
