"""The filter bar: the Selection as controls."""

from typing import Any

from dash import dcc, html

from analysis.selection import Selection
from dashboard.filters import Choices, attempts_word, stage_word
from dashboard.ids import filter_id
from dashboard.wording import counted


def filter_bar(selection: Selection, choices: Choices) -> list[Any]:
    """The controls that show `selection` and offer `choices`."""
    return [
        _control("game", "Game", _options(choices.games), selection.game, clearable=False),
        _control(
            "builds",
            "Build",
            _options(choices.builds, selection.builds),
            list(selection.builds),
            "all",
            multi=True,
        ),
        _control("stage", "Stage", _stages(choices), _stage_value(selection), "every stage"),
        _control(
            "players",
            "Players",
            _options(choices.players, selection.players),
            list(selection.players),
            "all",
            multi=True,
        ),
        _control(
            "attempts",
            "Attempts",
            _attempts(choices, selection),
            attempts_word(selection) or None,
            "every attempt",
        ),
        html.Div(
            dcc.Checklist(
                options=[{"label": " the makers too", "value": "makers"}],
                value=["makers"] if selection.include_team else [],
                id=filter_id("makers"),
            ),
            className="makers",
        ),
    ]


def _control(
    name: str, label: str, options: list[Any], value: Any, placeholder: str = "", **more: Any
) -> html.Div:
    return html.Div(
        [
            html.Span(label, className="label", id=f"filter-{name}-label"),
            dcc.Dropdown(
                id=filter_id(name),
                options=options,
                value=value,
                placeholder=placeholder,
                searchable=len(options) > 8,
                **more,
            ),
        ],
        role="group",
        **{"aria-labelledby": f"filter-{name}-label"},
    )


def _options(values: tuple[str, ...], chosen: tuple[str, ...] = ()) -> list[dict[str, str]]:
    return [{"label": value, "value": value} for value in dict.fromkeys((*values, *chosen))]


def _stages(choices: Choices) -> list[dict[str, str]]:
    with_boss = {stage for stage, kind in choices.stages if kind == 1}
    options = []
    for stage in sorted({stage for stage, _ in choices.stages}):
        options.append({"label": stage_word(stage, None), "value": str(stage)})
        if stage in with_boss:
            options += [
                {"label": stage_word(stage, kind), "value": f"{stage}{'rb'[kind]}"} for kind in (0, 1)
            ]
    return options


def _stage_value(selection: Selection) -> str | None:
    if selection.stage is None:
        return None
    return str(selection.stage) + {None: "", 0: "r", 1: "b"}.get(selection.stage_kind, "")


def _attempts(choices: Choices, selection: Selection) -> list[dict[str, str]]:
    words = {"1-1": "the first", "1-2": "the first two", "1-3": "the first three", "2-": "after the first"}
    chosen = attempts_word(selection)
    options = [{"label": label, "value": word} for word, label in words.items()]
    if chosen and chosen not in words:
        options.append({"label": f"attempts {chosen}", "value": chosen})
    return list({option["value"]: option for option in options}.values())
