"""How each number was made, in words for the report, with its sources: one module an area."""

from analysis.methods import deaths, genres, players, survival, timing, trust, tuning
from analysis.methods.entry import Method, Source

__all__ = ["METHODS", "Method", "Source"]

METHODS: dict[str, Method] = {
    key: method
    for area in (deaths, genres, players, survival, timing, trust, tuning)
    for key, method in area.METHODS.items()
}
