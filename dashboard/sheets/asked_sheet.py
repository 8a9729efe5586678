"""The sheets of a lesson as the dashboard serves them: what an address asks for."""

from flask import abort, request
from markupsafe import Markup

from analysis.arguments import WrongArgument, within
from analysis.tuning.lesson_hour import MOST_MINUTES, MOST_PAIRS, USUAL_MINUTES, USUAL_PAIRS
from analysis.tuning_answers.lesson import lesson_of
from analysis.tuning_answers.plan_game import USUAL_PLAYERS
from dashboard.sheets.made import PAPERS
from dashboard.sheets.table_sheet import table_sheet
from dashboard.sheets.teacher_sheet import teacher_sheet
from dashboard.state.dashboard_session import Session

_MAKERS = {"table": table_sheet, "teacher": teacher_sheet}
# Name in the address -> its usual value and its largest one.
_NUMBERS = {
    "players": (USUAL_PLAYERS, 250),
    "runs": (3, 50),
    "pairs": (USUAL_PAIRS, MOST_PAIRS),
    "minutes": (USUAL_MINUTES, MOST_MINUTES),
}


def asked_sheet(session: Session, name: str) -> Markup | None:
    """The sheet that the request asks for; None where there is no such sheet, game or plan. 400 for a wrong number."""
    game, paper, plan = request.args.get("game", ""), request.args.get("paper", PAPERS[0]), None
    if name not in _MAKERS or game not in session.games() or paper not in PAPERS:
        return None
    if "plan" in request.args:
        job = session.jobs.get(request.args.get("plan", -1, type=int))
        if job is None or not isinstance(job.result, dict) or job.result.get("game") != game:
            return None
        plan = job.result
    numbers = {one: _number(one, *known) for one, known in _NUMBERS.items()}
    study = session.study.path.name
    return _MAKERS[name](lesson_of(session.reader, game, study, plan, **numbers), paper, served=True)


def _number(name: str, usual: int, most: int) -> int:
    text = request.args.get(name, "")
    try:
        value = int(text) if text else usual
        within(name, value, most)
    except WrongArgument as error:
        abort(400, str(error))
    except ValueError:
        abort(400, f"{name}: write a whole number")
    return value
