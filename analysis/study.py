"""The public face of a study: each question of the commands as a method, answers as small frozen objects.

What a method needs is imported when it is called: `import analysis` costs next to nothing.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.study_decisions import StudyDecisions

if TYPE_CHECKING:
    from analysis.answers.checked import Checked
    from analysis.answers.found import Found
    from analysis.data.exporting import Exported


def open(path: str | Path, read_only: bool = True, say: Callable[[str], None] = lambda words: None) -> "Study":
    """Opens a study for questions.

    The file is held only while a question is asked, so that an open notebook is in nobody's way; in a `with` it is
    held to the end of that. A dashboard that holds the study lets go of it for as long.

    Parameters
    ----------
    path : str or Path
        The study, a DuckDB file that `setscrew ingest` made.
    read_only : bool
        Whether nothing may be written; with False, `keep`, `compare(remember=True)` and `sql` may.
    say : callable
        Is told why it takes long, where it does.

    Returns
    -------
    Study

    Raises
    ------
    ingest.study.study_errors.StudyError
        There is no study, it is damaged, or of another version; the message says what to do.
    ingest.study.study_errors.StudyBusy
        Another process holds it and does not let go; the message names it.

    Examples
    --------
    >>> import analysis
    >>> analysis.open("class.duckdb")
    Study class.duckdb, read-only: Moth Run (4 runs of 2 players)
    """
    study = Study(path, read_only, say)
    with study:
        return study


class Study(StudyDecisions):
    """One study; `open` makes it. Shares are from 0 to 1, times in the unit that a column's name ends in."""

    def __repr__(self) -> str:
        with self._asked() as reader:
            rows = reader.ask("study_games")
        from analysis.words import counted

        sizes = zip(rows["game"], rows["runs"].tolist(), rows["players"].tolist(), strict=True)
        games = ", ".join(f"{g} ({counted(r, 'run')} of {counted(p, 'player')})" for g, r, p in sizes)
        return f"Study {self.path}, {'read-only' if self.read_only else 'writable'}: {games or 'no game yet'}"

    def findings(
        self,
        game: str | None = None,
        question: str | Sequence[str] = (),
        *,
        build: str | Sequence[str] = (),
        stage: str | int | None = None,
        player: str | Sequence[str] = (),
        group: str | Sequence[str] = (),
        attempts: str | int | None = None,
        makers: bool = False,
    ) -> "Found":
        """What the study says, and how sure that is.

        Parameters
        ----------
        game : str, optional
            One game; otherwise every game in turn.
        question : str or sequence of str
            Only these questions, such as "deaths"; otherwise all.
        build : str or sequence of str
            Only runs of these builds; "all" for all builds together; otherwise of the build that was played last.
        player, group : str or sequence of str
            Only runs of these.
        stage : str or int, optional
            Only this stage; "2r" is the regular part of stage 2, "2b" its boss.
        attempts : str or int, optional
            Only these attempts of each player: "1-3", "2-", "1".
        makers : bool
            Whether the makers' own runs count too.

        Returns
        -------
        Found
            The findings, to be gone through or asked for by id; each has its sentence, estimate and tables (frames).

        Raises
        ------
        analysis.arguments.WrongArgument
            Something named is not there; the message says what is.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> found = study.findings(question="deaths")
        >>> found["deaths.causes"].tables["causes"]["deaths"].tolist()
        [4]
        """
        from analysis.answers.found import find_all
        from analysis.arguments import WrongArgument, words_of
        from analysis.findings import QUESTIONS
        from analysis.findings.trust.logs_received import why_no_run
        from analysis.played_order import of_newest
        from analysis.selection import choose

        questions = words_of(question)
        for one in questions:
            if one not in QUESTIONS:
                known = ", ".join(QUESTIONS)
                raise WrongArgument("question", one, f"there is no such question. The questions: {known}")
        with self._asked() as reader:
            games = tuple(reader.ask("study_games")["game"])
            asked = choose(games, game, build, stage, player, group, attempts, makers)
            chosen = [of_newest(reader, one) for one in asked]
            missing = why_no_run(reader) or "No run was chosen: ingest play logs, or take filters off."
            return find_all(reader, str(self.path), chosen, questions, missing)

    def export(
        self,
        folder: str | Path,
        formats: str | Sequence[str] = (),
        game: str | None = None,
        *,
        makers: bool = False,
        tags: bool = False,
        name: str | None = None,
        tell: Callable[[float, str], None] = lambda share, words: None,
    ) -> "Exported":
        """Writes runs, lives, deaths and notes as files: CSV, one Excel workbook, Parquet in partitions.

        Parameters
        ----------
        folder : str or Path
            Where to write; made when it is missing. Into one folder with the Parquet of other studies, too.
        formats : str or sequence of str
            "csv", "excel", "parquet"; otherwise all three.
        game : str, optional
            Only this game.
        makers : bool
            Whether the makers' own runs count too.
        tags : bool
            Whether players go by their tags, with remarks, names of logs and times; otherwise they are P1, P2, ...
        name : str, optional
            What the study is called among others in Parquet; otherwise as its file.
        tell : callable
            Is told which share is done, and what is being done; what it raises ends the export, and nothing is left.

        Returns
        -------
        Exported
            The files, the rows of each table, and what to know of them.

        Raises
        ------
        analysis.arguments.WrongArgument
            A file is there already, there is no such format or game, or the name is another study's.
        OSError
            It cannot be written.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.export("data", "csv").rows
        {'runs': 4, 'lives': 4, 'deaths': 4, 'notes': 0}
        """
        from analysis.arguments import WrongArgument, words_of
        from analysis.data.exporting import FORMATS, Asked, export
        from analysis.selection import choose

        wanted = words_of(formats) or FORMATS
        for one in wanted:
            if one not in FORMATS:
                raise WrongArgument("format", one, f"there is no such format; there are: {', '.join(FORMATS)}")
        with self._asked() as reader:
            games = [one.game for one in choose(tuple(reader.ask("study_games")["game"]), game)]
            asked = Asked(name or self.path.stem, wanted, games, makers, tags, whole=game is None)
            return export(reader, asked, Path(folder), tell)

    def check(self) -> "Checked":
        """What can be answered of each game by what its logs declare and hold, and what to log for the rest.

        `setscrew check` asks this of a study of one log alone, before anybody comes to play.

        Returns
        -------
        Checked
            For each game, each question and each tunable: whether it can be answered or turned, and what is missing.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> print(study.check()["deaths"].can)
        in part
        """
        from analysis.log_check import check_games

        with self._asked() as reader:
            return check_games(reader, str(self.path))
