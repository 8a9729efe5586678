"""Where a page shows a job: the button that cancels it, the bar, the result; and the callbacks that keep them true."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.selection import Selection
from dashboard.parts.dash_parts import note
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids

_LOOK_MS = 400


@dataclass(frozen=True)
class JobArea:
    """The job of one page; `name` begins the ids of its parts, and is the title of its jobs.

    It lives on the server: who reloads the page, or leaves it and comes back, finds it as it stands. of_runs: whether
    each choice of runs has its own; below: the area whose last job this one's builds on.
    """

    name: str
    of_runs: bool = True
    below: str = ""

    @property
    def result(self) -> str:
        """The id of the place of the result."""
        return f"{self.name}-result"

    @property
    def job(self) -> str:
        """The id of the store that holds the job's number."""
        return f"{self.name}-job"

    @property
    def started(self) -> tuple[Output, ...]:
        """The outputs of the callback that starts the job; it returns what `begin` or `refuse` make, or NOTHING."""
        return (
            Output(self.job, "data"),
            Output(self._tick, "disabled"),
            Output(self._cancel, "disabled"),
            Output(element_ids.MESSAGE, "children", allow_duplicate=True),
            Output(self.result, "children", allow_duplicate=True),
        )

    NOTHING = (no_update,) * 5

    def start(
        self, session: Session, work: Callable[[Job], Any], runs: Selection | None = None, asked: object = None
    ) -> tuple[Any, ...]:
        """Begins a job, or joins the one that is `asked` the same and still runs. The result of an earlier one goes: it
        answers another question.
        """
        job = session.jobs.start(self.name, work, runs if self.of_runs else None, asked)
        return job.number, False, False, None, None

    @staticmethod
    def refuse(reason: object) -> tuple[Any, ...]:
        """It cannot begin, and why. The result of an earlier one goes, and no job is followed any more."""
        return None, no_update, no_update, html.Div(str(reason)), None

    def bar(self) -> list[Any]:
        """The button and the bar, to stand beside the button that starts the job."""
        return [
            html.Button(
                "Cancel", id=self._cancel, className="button quiet while-working", type="button", disabled=True
            ),
            html.Div(id=self._progress, role="status"),
        ]

    def rest(self, class_name: str = "", **more: str) -> list[Any]:
        """What is not seen, and last the place of the result."""
        return [
            dcc.Store(id=self.job),
            dcc.Interval(id=self._tick, interval=_LOOK_MS, disabled=True),
            html.Div(id=self.result, className=class_name, **more),
        ]

    def wire(self, app: Dash, session: Session, shown: Callable[[Job], Any], done: str = "") -> None:
        """Cancel, and follow the job, also one that was there before the page; `shown` makes what stands in the place
        of the result, `done` is said then.
        """

        @app.callback(
            Output(self.job, "data", allow_duplicate=True),
            Output(self._tick, "disabled", allow_duplicate=True),
            Output(self._cancel, "disabled", allow_duplicate=True),
            Input(self.job, "id"),
            State(element_ids.ADDRESS, "search"),
            prevent_initial_call="initial_duplicate",
        )
        def find_again(_: str, search: str | None) -> Any:
            job = self._last(session, search)
            return (no_update,) * 3 if job is None else (job.number, False, job.ended)

        @app.callback(
            Output(self._progress, "title"),
            Input(self._cancel, "n_clicks"),
            State(self.job, "data"),
            prevent_initial_call=True,
        )
        def cancel(clicks: int | None, number: int | None) -> Any:
            job = session.jobs.get(number)
            if clicks and job is not None:
                job.cancel()
            return no_update

        @app.callback(
            Output(self._progress, "children"),
            Output(self.result, "children"),
            Output(self._tick, "disabled", allow_duplicate=True),
            Output(self._cancel, "disabled", allow_duplicate=True),
            Input(self._tick, "n_intervals"),
            State(self.job, "data"),
            prevent_initial_call=True,
        )
        def follow(_: int, number: int | None) -> Any:
            job = session.jobs.get(number)
            if job is None:
                return None, no_update, True, True
            so_far = None if job.result is None else shown(job)  # some jobs have a part of it early
            if not job.ended:
                return progress(job), no_update if so_far is None else so_far, False, False
            words = done if job.at == "done" else "Cancelled."
            return note(job.error, "warning") if job.error else note(words), so_far, True, True

    def _last(self, session: Session, search: str | None) -> Job | None:
        runs = session.chosen(search) if self.of_runs else None
        job = session.jobs.latest(self.name, runs)
        above = session.jobs.latest(self.below, runs) if self.below else None
        return job if job is None or above is None or job.number > above.number else None

    @property
    def _tick(self) -> str:
        return f"{self.name}-tick"

    @property
    def _cancel(self) -> str:
        return f"{self.name}-cancel"

    @property
    def _progress(self) -> str:
        return f"{self.name}-progress"


def progress(job: Job) -> html.P:
    """A bar with what the job is at."""
    words = f"{job.at}, {round(100 * job.share)} %"
    return html.P([html.Progress(value=str(round(100 * job.share)), max="100", **{"aria-label": words}), " ", words])
