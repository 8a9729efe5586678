"""What a study says of targets: what to change, the next playtest and its lesson, and whether a change helped."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.study_tables import StudyTables

if TYPE_CHECKING:
    from analysis.answers.compared import BuildsCompared
    from analysis.answers.planned import Planned
    from analysis.answers.proposed import Proposed
    from analysis.tuning_answers.lesson import Lesson


class StudyDecisions(StudyTables):
    """From targets to a change, and back to what became of it."""

    def propose(
        self,
        targets: str | Path,
        game: str | None = None,
        build: str | None = None,
        *,
        makers: bool = False,
        sensitivity: bool = False,
        testers: str | None = None,
    ) -> "Proposed":
        """What to change so that the targets are met, with the doubt that remains.

        Parameters
        ----------
        targets : str or Path
            The targets file (analysis/tuning/TARGETS.md).
        game, build : str, optional
            The game, where the study holds several; the build to change, otherwise that of the last run.
        makers : bool
            Whether the makers' own runs count too.
        sensitivity : bool
            Whether to work out what would be predicted under other assumptions as well; that takes long.
        testers : str, optional
            How those who played were found: "audience", "volunteers", "friends" or "unknown"; otherwise as the targets
            file or the study says, and where neither does, unknown: taken for friends.

        Returns
        -------
        Proposed
            The proposals, the best first; `keep` keeps them.

        Raises
        ------
        analysis.tuning.target_file.BadTargets
            The targets cannot be read.
        analysis.tuning_answers.tuning_data.NothingToTune
            There are no runs to tune by.
        analysis.arguments.WrongArgument
            The game or the build is not there, or no such way of finding testers.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.propose("targets.toml").frame[["target", "wanted", "unit"]].head(1)
                                       target  wanted   unit
        0  reach stage 2 on the first attempt     0.5  share
        """
        from analysis.answers.proposed import Proposed
        from analysis.arguments import checked_build, found_by, only_game, read_wishes
        from analysis.selection import Selection
        from analysis.tuning_answers.first_runs import first_runs
        from analysis.tuning_answers.tuning_answer import propose_game, under_other_assumptions

        wishes = found_by(read_wishes(targets), testers)
        with self._asked() as reader:
            one = only_game(reader, game or wishes.targets.game)
            checked_build(reader, one, build)
            answer = propose_game(reader, Selection(one, include_team=makers), wishes.targets, build)
            rows = tuple(under_other_assumptions(answer, wishes.targets)) if sensitivity else None
            seen, _, _ = first_runs(reader, one, answer.build)
        return Proposed(str(self.path), wishes, answer, rows, seen)

    def keep(self, proposed: "Proposed") -> None:
        """Keeps targets and predictions in the study, so that `compare` can score them later.

        Parameters
        ----------
        proposed : Proposed
            What `propose` answered; without proposals nothing is kept.

        Raises
        ------
        PermissionError
            The study is open for reading only.
        """
        import json

        from analysis.findings.progress.kept_predictions import predictions_to_keep
        from ingest.said.notes import add_prediction, add_target

        if not proposed.answer.proposals:
            return
        with self._writing() as connection:
            add_target(connection, proposed.game, proposed.wishes.text)
            for label, kept in predictions_to_keep(proposed.answer, proposed.wishes.targets):
                text = json.dumps(kept, allow_nan=False)
                add_prediction(connection, proposed.game, label, proposed.answer.fingerprint, text)

    def plan(
        self,
        targets: str | Path,
        game: str | None = None,
        build: str | None = None,
        *,
        precision: float | None = None,
        players: int | None = None,
        runs: int = 3,
        against: str | Mapping[str, int] | None = None,
        within: bool = False,
        quick: bool = False,
    ) -> "Planned":
        """The next playtest: how many players, who plays what, what to tell them, when to stop.

        Parameters
        ----------
        targets, game, build
            As for `propose`.
        precision : float, optional
            Half of the 80 % interval that is wanted, in points or the target's unit; otherwise the target's tolerance.
        players : int, optional
            Players to schedule, up to 250; otherwise as many as needed.
        runs : int
            Runs each, up to 50.
        against : str or mapping, optional
            A proposal's id, or tunable -> value, to be played against the present build.
        within : bool
            Whether every player plays both builds, in balanced order.
        quick : bool
            Whether to leave out the simulation of what more players would teach.

        Returns
        -------
        Planned
            The plan; its `full_text()` is a sheet in Markdown.

        Raises
        ------
        BadTargets, NothingToTune, WrongArgument
            As for `propose`; ValueError for a precision or setting that cannot be.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.plan("targets.toml", players=4, quick=True).frame["player"].tolist()
        ['P03', 'P04', 'P05', 'P06']
        """
        from analysis import arguments
        from analysis.answers.planned import Planned
        from analysis.selection import Selection
        from analysis.tuning_answers.plan_game import plan_game

        wishes = arguments.read_wishes(targets)
        arguments.within("players", players, 250)
        arguments.within("runs", runs, 50)
        setting = arguments.setting_from("against", against)
        with self._asked() as reader:
            one = arguments.only_game(reader, game or wishes.targets.game)
            arguments.checked_build(reader, one, build)
            plan = plan_game(
                reader,
                Selection(one),
                wishes.targets,
                build=build,
                wanted=precision,
                players=players,
                runs=runs,
                against=setting,
                within=within,
                simulate=not quick,
            )
            return Planned(str(self.path), reader.fingerprint(), one, runs, plan)

    def lesson(
        self,
        game: str | None = None,
        *,
        plan: "Planned | None" = None,
        players: int | None = None,
        runs: int = 3,
        pairs: int = 30,
        minutes: float = 60,
    ) -> "Lesson":
        """A lesson in which a class plays: who sits where when, and what so many players tell.

        Parameters
        ----------
        game : str, optional
            The game, where the study holds several.
        plan : Planned, optional
            What `plan` answered; otherwise the newest build is played, and no target is planned for.
        players, runs : int
            Players at each table and runs each, without a plan; 12 players, where none are named.
        pairs : int
            Pairs of the class, each with a table and a game of its own; 1 for one table to which players come.
        minutes : float
            How long the lesson is.

        Returns
        -------
        Lesson
            What the sheets of `setscrew plan --sheets` say; `hour` has it minute by minute.

        Raises
        ------
        NothingToTune, WrongArgument
            As for `propose`.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.lesson(players=8, runs=2, minutes=45).hour.players
        8
        """
        from analysis import arguments
        from analysis.tuning.lesson_hour import MOST_MINUTES, MOST_PAIRS
        from analysis.tuning_answers.lesson import lesson_of

        for name, value, most in (
            ("players", players, 250),
            ("runs", runs, 50),
            ("pairs", pairs, MOST_PAIRS),
            ("minutes", minutes, MOST_MINUTES),
        ):
            arguments.within(name, value, most)
        with self._asked() as reader:
            one = plan.game if plan else arguments.only_game(reader, game)
            planned = plan.to_json() if plan else None
            return lesson_of(reader, one, self.path.name, planned, players, runs, pairs, minutes)

    def compare(
        self,
        before: str | None = None,
        after: str | None = None,
        game: str | None = None,
        *,
        targets: str | Path | None = None,
        makers: bool = False,
        remember: bool = False,
    ) -> "BuildsCompared":
        """Did it help? Two builds by what each player did on them, and kept predictions against what came.

        Parameters
        ----------
        before, after : str, optional
            The builds; otherwise the last two that were played, where their order is known.
        game : str, optional
            The game, where the study holds several.
        targets : str or Path, optional
            By which targets; otherwise those kept in the study.
        makers : bool
            Whether the makers' own runs count too.
        remember : bool
            Keep in the study that `before` was played before `after`.

        Returns
        -------
        BuildsCompared
            Each target on both builds with the difference and its interval; `missing` says why there is none.

        Raises
        ------
        BadTargets, NothingToTune, WrongArgument
            As for `propose`.
        PermissionError
            `remember`, and the study is open for reading only.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> print(study.compare().missing)
        Moth Run: only one build has been played, 1.0: change something, flash it, and let people play again,
        then there is a before and an after.
        """
        from analysis.answers.compared import BuildsCompared
        from analysis.arguments import WrongArgument, only_game, read_wishes
        from analysis.findings.progress.comparison import compare_game
        from analysis.selection import Selection
        from analysis.tuning_answers.tuning_data import NothingToTune

        wishes = read_wishes(targets).targets if targets else None
        if remember and not (before and after):
            raise WrongArgument("before", None, "to remember which came first, name both builds, before and after")
        with self._asked() as reader:
            one = only_game(reader, game or (wishes.game if wishes else None))
            if remember:  # first: attempts are counted by it too
                self._note_order(one, before or "", after or "")
            try:
                found = compare_game(reader, Selection(one, include_team=makers), wishes, before, after)
            except NothingToTune as error:
                raise WrongArgument("after" if after else "before", None, str(error)) from None
            return BuildsCompared(str(self.path), reader.fingerprint(), one, found)

    def _note_order(self, game: str, before: str, after: str) -> None:
        from analysis.arguments import WrongArgument
        from ingest.said.notes import note_order

        with self._writing() as connection:
            try:
                note_order(connection, game, [before], after)
            except ValueError as error:
                raise WrongArgument("before", before, str(error)) from None
