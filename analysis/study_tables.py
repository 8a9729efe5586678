"""The tables of a study, as pandas frames."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis.held import HeldStudy

if TYPE_CHECKING:
    import pandas as pd


class StudyTables(HeldStudy):
    """Games, runs, events and questions in SQL."""

    def games(self) -> "pd.DataFrame":
        """The games of the study, the most played first.

        Returns
        -------
        DataFrame
            A row a game: game, runs, invalid_runs, damaged_runs, players (who are not makers), maker_runs, minutes
            (played), builds.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.games()[["game", "runs", "players"]]
               game  runs  players
        0  Moth Run     4        2
        """
        return self._frame("study_games")

    def runs(self, game: str | None = None) -> "pd.DataFrame":
        """Every run, the newest first; those that are marked as not valid too.

        Parameters
        ----------
        game : str, optional
            Only this game.

        Returns
        -------
        DataFrame
            A row a run: game, run_id, capture (its log), number, player, build, attempt, alive_s (seconds), ending,
            deaths, damaged, valid, and what else analysis/data/TABLES.md lists.

        Raises
        ------
        analysis.arguments.WrongArgument
            The study holds no such game.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.runs().groupby("player")["deaths"].sum().to_dict()
        {'P01': 2, 'P02': 2}
        """
        return self._table("runs", game)

    def lives(self, game: str | None = None, makers: bool = False) -> "pd.DataFrame":
        """The lives of the runs that count: what a survival curve is made of.

        Parameters
        ----------
        game : str, optional
            Only this game.
        makers : bool
            Whether the makers' own runs count too.

        Returns
        -------
        DataFrame
            A row a life: run_id, player, build, attempt, life, stage, alive_s (seconds), died (otherwise it was cut
            short), and what else analysis/data/TABLES.md lists.

        Raises
        ------
        analysis.arguments.WrongArgument
            The study holds no such game.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.lives()[["alive_s", "died"]].drop_duplicates()
           alive_s  died
        0     20.0  True
        1     40.0  True
        """
        return self._table("lives", game, makers)

    def deaths(self, game: str | None = None, makers: bool = False) -> "pd.DataFrame":
        """The deaths of the runs that count: where, when, of what.

        Parameters
        ----------
        game, makers
            As for `lives`.

        Returns
        -------
        DataFrame
            A row a death: run_id, player, build, attempt, life, stage, x and y (pixels), cause, alive_s and run_s
            (seconds), and what else analysis/data/TABLES.md lists.

        Raises
        ------
        analysis.arguments.WrongArgument
            The study holds no such game.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.deaths().groupby(["x", "y"]).size().to_dict()
        {(40, 60): 4}
        """
        return self._table("deaths", game, makers)

    def notes(self, game: str | None = None, makers: bool = False) -> "pd.DataFrame":
        """The notes of the runs that count in rhythm games, each with the press that was meant for it.

        Parameters
        ----------
        game, makers
            As for `lives`.

        Returns
        -------
        DataFrame
            A row a note: run_id, player, build, attempt, song, lane, in_song_s (seconds), error_ms (late is positive),
            hit, and what else analysis/data/TABLES.md lists.

        Raises
        ------
        analysis.arguments.WrongArgument
            The study holds no such game.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> len(study.notes())
        0
        """
        return self._table("notes", game, makers)

    def events(self, role: str) -> "pd.DataFrame":
        """All events of one role, over all games and logs.

        Parameters
        ----------
        role : str
            A role of ingest/FORMAT.md, such as "death" or "shot".

        Returns
        -------
        DataFrame
            A row an event, with a column for each role of fields (x and y in pixels, and so on); missing where the
            game does not log it. The numbers of runs are those of `runs`.

        Raises
        ------
        analysis.arguments.WrongArgument
            There is no such role.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.events("death")[["x", "y"]].drop_duplicates()
            x   y
        0  40  60
        """
        from analysis.arguments import WrongArgument
        from ingest.vocabulary import EventRole

        roles = [str(known) for known in EventRole]
        if role not in roles:
            raise WrongArgument("role", role, f"there is no such role; there are: {', '.join(roles)}")
        return self.sql(f"TABLE {role}_events")

    def sql(self, text: str, parameters: Sequence[Any] | Mapping[str, Any] = ()) -> "pd.DataFrame":
        """What the study answers to a question in SQL; ingest/STORE.md describes its tables.

        Parameters
        ----------
        text : str
            One question of DuckDB's SQL. Values stand in `parameters`, not in the text.
        parameters : sequence or mapping
            The values of ? or $name in the text.

        Returns
        -------
        DataFrame
            The rows, in the order of the question.

        Raises
        ------
        PermissionError
            It would write, and the study is open for reading only.
        duckdb.Error
            What DuckDB does not understand, in its words.

        Examples
        --------
        >>> study = analysis.open("class.duckdb")
        >>> study.sql("SELECT count(*) AS deaths FROM death_events WHERE x > ?", [30])
           deaths
        0       4
        """
        import duckdb

        with self._asked(), self._open.connection.cursor() as cursor:
            try:
                asked = cursor.execute(text, dict(parameters) if isinstance(parameters, Mapping) else list(parameters))
                return asked.df()
            except duckdb.InvalidInputException as error:
                if "read-only" not in str(error):
                    raise
                raise PermissionError(
                    f"{self.path} is open for reading only; to write, open it with analysis.open(..., read_only=False)"
                ) from None

    def _table(self, name: str, game: str | None, makers: bool = False) -> "pd.DataFrame":
        from analysis.data.declared_tables import TABLES
        from analysis.data.reading_tables import whole
        from analysis.selection import choose

        with self._asked() as reader:
            games = [one.game for one in choose(tuple(reader.ask("study_games")["game"]), game)]
            return whole(reader, TABLES[name], games, makers)

    def _frame(self, query: str, **parameters: Any) -> "pd.DataFrame":
        with self._asked() as reader:
            return reader.ask(query, **parameters).frame
