"""What next: how many people should play which build how often, so that the next playtest settles something."""

from dataclasses import asdict
from typing import Any
from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.answers.plan_sheet import MORE_DOUBT, scale_and_unit, slower
from analysis.arguments import setting_from
from analysis.plain import plain
from analysis.selection import Selection
from analysis.tuning.lesson_hour import MOST_MINUTES, MOST_PAIRS, USUAL_MINUTES, USUAL_PAIRS
from analysis.tuning.target_file import BadTargets
from analysis.tuning_answers.plan_game import USUAL_PLAYERS, plan_game
from analysis.words import cell, counted
from dashboard.pages.page import Page
from dashboard.pages.question_pages import none_chosen, nothing_ingested
from dashboard.parts import cautions
from dashboard.parts.dash_parts import field, note, unsaved
from dashboard.parts.job_area import JobArea
from dashboard.sheets.made import PAPERS
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.web import element_ids
from dashboard.web.filters import game_address
from dashboard.web.placing import placed, placed_table
from dashboard.web.templating import part

PLAYERS, RUNS, AGAINST, MAKE = "plan-players", "plan-runs", "plan-against", "plan-make"
AREA = JobArea("plan")
_USUAL_TICKS = 60
_LONGEST = 400


def controls() -> list[Any]:
    """How large the playtest may be, and the place of the plan."""
    own = unsaved("study")
    return [
        html.Div(
            [
                field(
                    "Players",
                    dcc.Input(id=PLAYERS, type="number", min=1, max=250, step=1, placeholder="advise me", **own),
                ),
                field("Runs each", dcc.Input(id=RUNS, type="number", min=1, max=50, step=1, value=3, **own)),
                field(
                    "Against the present build (name=value+name=value)",
                    dcc.Input(
                        id=AGAINST,
                        type="text",
                        maxLength=_LONGEST,
                        size="34",
                        placeholder="nothing: present build only",
                        **own,
                    ),
                ),
                html.Button("Plan", id=MAKE, className="button", type="button"),
                *AREA.bar(),
            ],
            className="row",
        ),
        *AREA.rest("wide cards"),
    ]


def body(session: Session, selection: Selection | None) -> list[Any]:
    """The form."""
    if selection is None:
        return [placed(nothing_ingested(session))]
    if session.basis(selection.of_every_build()).runs == 0:
        return [placed(none_chosen(selection))]
    *form, result = controls()
    hint: Any = "It plans for one target only: the first that is kept in the study, at its tolerance."
    if session.kept_targets(selection.game) is None:
        address = "/tuning" + game_address(selection.game)
        hint = ["A plan needs a target. ", html.A("Keep one first", href=address), "."]
    return [
        html.Section([html.H2("The next playtest"), *form, html.P(hint, className="note")], className="card wide"),
        result,
        html.Section([html.H2("Sheets to print without a plan"), *sheets(selection.game)], className="card wide"),
        html.Section(
            [html.H2("Before people play"), *[note(text, "caution") for text in (cautions.PRIVACY, cautions.FLASHING)]],
            className="card wide",
        ),
    ]


def work(session: Session, game: str, players: int | None, runs: int, against: str, job: Job) -> dict[str, Any]:
    """The plan as JSON values. Raises ValueError, NothingToTune, Cancelled."""
    kept = session.kept_targets(game)
    if kept is None:
        raise ValueError("A plan needs a target: keep one on the page “What to change” first.")
    targets = kept.read
    ticks = 0

    def tick() -> None:
        nonlocal ticks
        ticks += 1
        job.report(ticks / (ticks + _USUAL_TICKS), "playing playtests of several sizes")

    job.report(0.02, "fitting the model to the runs")
    setting = setting_from("against", (against or "").strip() or None)
    plan = plan_game(
        session.reader,
        Selection(game),
        targets,
        players=players,
        runs=runs,
        against=setting,
        within=bool(setting),
        tick=tick,
    )
    head = {
        "fingerprint": session.reader.fingerprint(),
        "game": game,
        "runs": runs,
        "asked_players": players,
        "study": "",
        "setscrew": "",
    }
    return plain(head | asdict(plan))


def shown(plan: dict[str, Any], job: int) -> list[Any]:
    """The plan as cards, with its sheet to print."""
    scale, unit = scale_and_unit(plan)
    now, wanted = scale * plan["now_half_width"], scale * plan["wanted_half_width"]
    needed = plan["players_needed"]
    says = (
        f"{plan['target']}: the doubt, half of the 80 % interval, is ±{cell(now)} {unit} now; "
        f"±{cell(wanted)} are wanted. "
    ) + (
        "No playtest that a class can hold would get there."
        if needed is None
        else "That is reached already."
        if needed == 0
        else f"About {needed} more players would get there.{f' {MORE_DOUBT}' if slower(plan) else ''}"
    )
    cards: list[Any] = [html.H2("What it takes"), html.P(says, className="saying")]
    cards.append(note(f"Planned for one target only, “{plan['target']}”; the others may be left in more doubt."))
    if plan["precision"]:
        cards += [
            placed_table(
                _columns(
                    plan["precision"],
                    scale,
                    {
                        "more players": "players",
                        "runs each": "runs",
                        f"doubt left, ± {unit} (80 %)": "half_width",
                        "playtests simulated": "plays",
                    },
                ),
                "Doubt left, by players on the present build",
            ),
            note("Each doubt is the mean of the playtests simulated, so it scatters a little."),
        ]
    if plan["power"]:
        cards += [
            placed_table(
                _columns(
                    plan["power"],
                    100,
                    {"players on each build": "players_each", "chance to tell them apart, %": "chance"},
                ),
                "Chance to tell the builds apart",
            ),
            note(
                "Worked out, not simulated, as if different people played the two. Counts are whole numbers: a few "
                "more players can leave the chance a little lower."
            ),
        ]
    if plan["schedule"]:
        cards += [
            placed_table(
                _columns(
                    plan["schedule"],
                    1,
                    {"number": "number", "player": "player", "builds, in this order": "builds", "runs on each": "runs"},
                ),
                "Who plays what",
            ),
            note(why_so_many(plan)),
        ]
    if plan["schedule"]:
        cards += [html.H3("Sheets to print for a lesson"), *sheets(plan["game"], job)]
    cards.append(
        html.A(
            "The plan as a text (Markdown)", href=f"/plan/{job}.md", download="playtest.md", className="button quiet"
        )
    )
    return [html.Section(cards, className="card wide")]


def sheets(game: str, plan: int | None = None) -> list[Any]:
    """The form that asks for the sheets of a lesson, by the plan of that job or by what is usual."""
    known = [("game", game), *([("plan", plan)] if plan is not None else [])]
    numbers = [
        ("pairs", "Pairs in the class", USUAL_PAIRS, MOST_PAIRS),
        ("minutes", "Minutes of the lesson", USUAL_MINUTES, MOST_MINUTES),
    ]
    words = "By this plan, and by the runs so far."
    if plan is None:
        numbers = [("players", "Players at each table", USUAL_PLAYERS, 250), ("runs", "Runs each", 3, 50), *numbers]
        words = "By the runs so far, with no target in mind: plan first, if there is one."
    return [placed(part("sheets_form", known, numbers, PAPERS)), note(f"{words} Each opens in a tab of its own.")]


def why_so_many(plan: dict[str, Any]) -> str:
    """Why the schedule has so many players as it has."""
    count, needed, each = len(plan["schedule"]), plan["players_needed"], plan["players_each_needed"]
    scheduled = f"Scheduled: {counted(count, 'player')}, "
    if plan["asked_players"]:
        return scheduled + "as asked for."
    if plan["power"] and each is None:
        return f"{scheduled}what one session usually gives; no class tells the builds apart with a chance of 80 %."
    wanted = 2 * each if plan["power"] else needed
    if wanted == count:
        purpose = "telling the builds apart" if plan["power"] else "the wanted precision"
        return f"{scheduled}as {purpose} takes."
    if wanted == 0:
        return f"{scheduled}what one session usually gives; for this target nobody more is needed."
    takes = "More than a class can give" if wanted is None else f"{wanted}"
    return f"{scheduled}what one session usually gives. {takes} would be needed."


def _columns(rows: list[dict[str, Any]], scale: int, names: dict[str, str]) -> dict[str, list[Any]]:
    """The columns `names` (heading: key) of rows; fractions are scaled."""
    return {heading: [_cell(row[key], scale) for row in rows] for heading, key in names.items()}


def _cell(value: Any, scale: int) -> Any:
    if isinstance(value, float):
        return round(scale * value, 1)
    return ", then ".join(map(str, value)) if isinstance(value, list) else value


def wires(app: Dash, session: Session) -> None:
    """Address -> setting to be checked; button -> job -> plan."""

    @app.callback(Output(AGAINST, "value"), Input(AGAINST, "id"), State(element_ids.ADDRESS, "search"))
    def from_a_proposal(_: str, search: str | None) -> Any:
        said = parse_qs((search or "").removeprefix("?")).get("against")
        return said[0][:_LONGEST] if said else no_update

    @app.callback(
        *AREA.started,
        Input(MAKE, "n_clicks"),
        State(element_ids.ADDRESS, "search"),
        State(PLAYERS, "value"),
        State(RUNS, "value"),
        State(AGAINST, "value"),
        prevent_initial_call=True,
    )
    def start(
        clicks: int | None, search: str | None, players: int | None, runs: int | None, against: str | None
    ) -> Any:
        selection = session.chosen(search)
        if not clicks or selection is None:
            return AREA.NOTHING
        try:
            setting_from("against", (against or "").strip() or None)
        except (BadTargets, ValueError) as error:
            return AREA.refuse(error)
        game = selection.game
        asked = (players, runs or 3, against or "")
        return AREA.start(session, lambda job: work(session, game, *asked, job), selection, asked)

    AREA.wire(app, session, lambda job: shown(job.result, job.number))


PAGE = Page(
    path="/plan",
    group="Decide",
    short="What next",
    title="What next?",
    lead="The playtest that would settle what these data leave open: how many players, how many runs, which "
    "build first.",
    body=body,
    controls=controls,
    wires=wires,
    follows=False,
)
