"""The tables of a study, as pandas frames."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis.held import HeldStudy

if TYPE_CHECKING:
    import pandas as pd

_EVERY_RUN = 2**31 - 1


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
            deaths, damaged, valid, and what else `setscrew show` lists.

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
        import pandas as pd

        from analysis.selection import choose

        with self._asked() as reader:
            games = choose(tuple(reader.ask("study_games")["game"]), game)
            tables = [reader.ask("runs_listed", game=one.game, most=_EVERY_RUN).frame for one in games]
        for one, table in zip(games, tables, strict=True):
            table.insert(0, "game", one.game)
        return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()

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

    def _frame(self, query: str, **parameters: Any) -> "pd.DataFrame":
        with self._asked() as reader:
            return reader.ask(query, **parameters).frame
