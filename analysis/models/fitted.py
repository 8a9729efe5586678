"""What every fitted model answers: proposals, sliders, maps, other assumptions and plans ask nothing else of one."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar

import numpy as np

from analysis.models.audience import Shift
from analysis.models.data import Build, Tunable
from analysis.models.fitting.sampling import Sampling
from analysis.models.moves import Move, moves_of
from analysis.models.observed import Observed
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Target
from analysis.stats.estimate import FEW_PLAYERS
from analysis.words import counted
from ingest.vocabulary import TunableRole

AS_THEY_ARE = "as they are"


class Fitted(ABC):
    """A model fitted to one game's playtests, with the data it was fitted to.

    method: its key among the methods. of_the_game: False where it speaks of one tunable only, so that it has something
    to say only where that one is to change. more, less: in words, what an audience does that is a third worse or
    better off than the testers; empty where the model cannot speak of another audience.
    """

    method: ClassVar[str]
    of_the_game: ClassVar[bool] = True
    more: ClassVar[str] = ""
    less: ClassVar[str] = ""

    @property
    @abstractmethod
    def build(self) -> Build:
        """The build whose tunables a proposal changes."""

    @property
    @abstractmethod
    def roles(self) -> tuple[TunableRole, ...]:
        """Roles of tunables whose effect it knows."""

    @property
    @abstractmethod
    def players(self) -> int:
        """How many players it rests on."""

    @property
    @abstractmethod
    def runs(self) -> int:
        """How many runs it rests on."""

    @property
    @abstractmethod
    def sampling(self) -> Sampling:
        """What its draws are worth."""

    @abstractmethod
    def knows(self, target: Target) -> bool:
        """Can it say anything about this target?"""

    @abstractmethod
    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        """(targets, draws): each target's figure for the population, by posterior draw; quick: of fewer draws."""

    @abstractmethod
    def observed(self, target: Target) -> Observed:
        """What the playtest of `build` itself showed."""

    def for_audience(self, shift: Shift) -> "Fitted":
        """The same, speaking of an audience that differs so from people like the testers; itself where it cannot."""
        return self

    def finer(self) -> "Fitted":
        """The same with so many draws that a stated chance hardly hangs on their luck; itself where it has no more."""
        return self

    @property
    def apart(self) -> str:
        """What sets its predictions apart from those of a model of the whole game; empty for these."""
        return ""

    @property
    def tunables(self) -> tuple[Tunable, ...]:
        """All tunables of `build`."""
        return self.build.tunables

    @property
    def acting(self) -> tuple[Tunable, ...]:
        """Those whose effect it knows."""
        return tuple(t for t in self.tunables if t.role in self.roles)

    def figures_many(
        self, settings: Sequence[Setting], targets: Sequence[Target], quick: bool = False
    ) -> list[np.ndarray]:
        """`figures` of several settings."""
        return [self.figures(setting, targets, quick) for setting in settings]

    def asked(self, targets: Sequence[Target]) -> list[Target]:
        """Those of `targets` that it is to meet, and what follows from them."""
        return [target for target in targets if self.knows(target)]

    def moves(self, wishes: Changeable, targets: Sequence[Target]) -> tuple[Move, ...]:
        """What may be moved for the sake of `targets`."""
        now = self.figures({}, targets, quick=True)
        return moves_of(self.acting, wishes, lambda s: not np.array_equal(self.figures(s, targets, quick=True), now))

    def unknown(self, targets: Sequence[Target]) -> str:
        """Why the play tells nothing of how `targets` could be met; empty where it does."""
        return ""

    def carried_by(self, tunable: Tunable) -> str:
        """What the predicted effect of a tunable rests on."""
        return ""

    def side_effects(self, setting: Setting) -> Mapping[str, Any]:
        """What else changes, `now` and as `proposed`."""
        return {}

    def assumptions(self) -> tuple[str, ...]:
        """What is assumed, with the priors' figures."""
        return ()

    def cautions(self) -> tuple[str, ...]:
        """What to keep in mind about the data and the fit."""
        return ()

    def otherwise(self) -> Mapping[str, Callable[[], "Fitted"]]:
        """The same fitted with one assumption changed at a time, by the words for it."""
        return {}


def of_the_playtest(newcomers: np.ndarray, players: int, runs: int, damaged: int) -> tuple[str, ...]:
    """What to keep in mind about the playtest. newcomers: the player of each run by one who is new to the game."""
    fresh = len(np.unique(newcomers))
    said = []
    if fresh == 0:
        said.append("every player had played before: what first-time players do is guessed from them")
    elif fresh < players:
        said.append(f"{players - fresh} of {counted(players, 'player')} had played before; they are not the population")
    if players < FEW_PLAYERS:
        said.append(f"only {counted(players, 'player')}: the intervals are indicative")
    if runs < 2 * players:
        said.append("fewer than two runs a player: what practice does is mostly assumed")
    if damaged:
        are = "is" if runs == 1 else "are"
        said.append(f"{damaged} of {counted(runs, 'run')} {are} damaged: events in them may be missing")
    return tuple(said)
