"""One console at the table: its next player, how its recording stands, and what its buttons do."""

from typing import Any

from dash import dcc, html

from analysis.words import cell, counted
from dashboard.parts.dash_parts import note, unsaved
from dashboard.state.dashboard_session import Session
from ingest.capture.live import Counts
from ingest.capture.player_tag import BadTag
from ingest.capture.recording import Status
from ingest.study.capture_counts import Notice

MOST_NOTICES_SHOWN = 5
_STATES = {
    "recording": "recording",
    "unplugged": "nothing to read from",
    "disk": "the disk is full: free some space",
    "stopped": "stopped",
}


def console_card(name: str) -> html.Section:
    """The controls of one console; its state is filled in by the clock."""

    def at(what: str) -> dict[str, str]:
        return {"type": f"live-{what}", "name": name}

    tag = dcc.Input(
        id=at("tag"), type="text", maxLength=4, size="6", placeholder="P07", debounce=False, **unsaved(name)
    )
    remark = dcc.Input(id=at("remark"), type="text", maxLength=400, size="30", **unsaved(name))
    return html.Section(
        [
            html.H2(name),
            html.Div(id=at("state")),
            html.Div(
                [
                    html.Div([html.Label(["Player tag", tag])], className="field"),
                    html.Button("Plays next", id=at("next"), className="button", type="button"),
                    html.Button("Plays now", id=at("now"), className="button quiet", type="button"),
                    html.Button("Take waiting tags back", id=at("back"), className="button quiet", type="button"),
                ],
                className="row",
            ),
            html.Div(
                [
                    html.Div([html.Label(["Remark on the run", remark])], className="field grow"),
                    html.Button("Note it", id=at("note"), className="button quiet", type="button"),
                    html.Button("Stop recording", id=at("stop"), className="button quiet", type="button"),
                ],
                className="row",
            ),
        ],
        className="card",
    )


def state(status: Status, ingest_trouble: str | None) -> list[Any]:
    """How one recording stands, in words and numbers."""
    c = status.counts
    facts = {
        "state": [
            html.Span(className="live-dot" + ("" if status.state == "recording" else " stale")),
            _STATES[status.state],
        ],
        "game": c.game or "not known yet",
        "run": f"{cell(c.runs)}, {_going_on(c)}",
        "deaths": cell(c.deaths),
        "received": f"{counted(status.bytes, 'byte')}, {cell(int(status.bytes_per_s))} a second",
        "damage": f"{counted(c.rejected, 'bad packet')}, {cell(c.missing_packets)} lost",
        "dropped events": cell(c.dropped_events),
    }
    said = [text for text in (status.trouble, ingest_trouble) if text]
    search = [note(text, "note" if c.packets else "warning") for text in status.search[-1:]]
    return [
        _who(status),
        html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts.items()], className="facts small"),
        *search,
        *[note(text, "warning") for text in [*said, *_told(status.notices)]],
    ]


def _going_on(counts: Counts) -> str:
    if counts.unread_from is not None:
        return "and no later one is read"
    return "going on" if counts.in_run else "none going on"


def _who(status: Status) -> html.Dl:
    """Who plays next, and who plays: to be read from where the console is handed on."""
    first, *then = status.waiting or ("nobody yet",)
    later = [html.Span(f"then {', '.join(then)}", className="then")] if then else []
    facts = (("plays next", [first, *later]), ("plays now" if status.counts.in_run else "played last", status.who))
    return html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts], className="facts large")


def _told(notices: tuple[Notice, ...]) -> list[str]:
    """The notices, each remedy once, behind the last that needs it; of very many only the first."""
    shown = notices[:MOST_NOTICES_SHOWN]
    words = [
        notice.what if notice.remedy in (later.remedy for later in shown[place:]) else notice.words
        for place, notice in enumerate(shown, 1)
    ]
    more = len(notices) - len(shown)
    return [*words, *([f"And {more} more of this kind."] if more else [])]


def act(session: Session, what: str, name: str, tag: str | None, remark: str | None) -> str:
    """Does what a console's button says, and answers in words."""
    captures = session.captures
    if captures is None:
        return "This dashboard records nothing."
    try:
        if what == "live-next":
            return f"{captures.next_player(name, tag or '')} plays the next run on {name}."
        if what == "live-now":
            return f"{captures.this_player(name, tag or '')} plays the run on {name}."
        if what == "live-back":
            captures.take_back(name)
            return "No tag is waiting any more."
        if what == "live-note":
            if not (remark or "").strip():
                return "Write the remark first."
            captures.remark(name, remark or "")
            return "Noted with the run."
        if what == "live-stop":
            return (
                "Stopped; everything is in the file."
                if captures.stop(name)
                else "The disk still refuses what waits; free some space and stop again."
            )
    except (BadTag, KeyError) as error:
        return str(error)
    return ""
