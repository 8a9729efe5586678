"""The places of a report that only people can fill: each with its label, and what belongs there."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """One place to write. name: the field of `About`; gap: what the report says while it is empty."""

    name: str
    label: str
    hint: str
    gap: str = ""
    short: bool = False


PLACES = (
    Place("title", "Title", "", short=True),
    Place("authors", "Authors", "", "Authors: to be filled in.", short=True),
    Place(
        "question",
        "The question you set out with",
        "What did you want to find out, before anybody played?",
        "To be filled in by the authors: what did you want to find out, before anybody played?",
    ),
    Place(
        "playtest",
        "How it was played",
        "Where, who played, what they were told, how many runs each, which build first.",
        "To be filled in by the authors: where it was played, by whom, what players were told, and which build they "
        "played first.",
    ),
    Place(
        "consent",
        "Consent",
        "How players were asked, what they were told, who may see the data.",
        "To be filled in by the authors: how players were asked, what they were told, and who may see the data.",
    ),
    Place(
        "contributions",
        "Who did what",
        "One line for each of you: what you built, ran, analysed or wrote.",
        "To be filled in by the authors: one line for each of you, on what you built, ran, analysed or wrote.",
    ),
    Place(
        "interpretation",
        "Your own interpretation",
        "What do you make of it? Which explanation fits, which other could, what will you do next?",
        "To be filled in by the authors: what you make of these figures, which other explanation could fit, and what "
        "you will do next.",
    ),
)
GAPS = {place.name: place.gap for place in PLACES}
