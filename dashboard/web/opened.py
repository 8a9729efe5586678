"""What a page has open beside the filter, in the address too, so that a link to it opens the same again.

`place=96-48` a place of the death map, by a pixel of it; `death=17-2` the death that ended life 2 of run 17;
`run=17` a run of the list.
"""

import re
from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

# Nothing longer is looked at: the address is outside input. Numbers of runs have sixteen digits (ingest/study/ids.py).
_LONGEST = 4096
_PLACE = re.compile(r"(\d{1,5})-(\d{1,5})", re.ASCII)
_DEATH = re.compile(r"(\d{1,16})-(\d{1,9})", re.ASCII)
_ONE = re.compile(r"\d{1,16}", re.ASCII)


@dataclass(frozen=True)
class Opened:
    """place: (x, y) in pixels; death: (run_id, number of the life); run: run_id."""

    place: tuple[int, int] | None = None
    death: tuple[int, int] | None = None
    run: int | None = None

    def words(self) -> str:
        """What is to follow the filter's words in an address: "&place=96-48&death=17-2"."""
        pairs = [
            (name, f"{pair[0]}-{pair[1]}")
            for name, pair in (("place", self.place), ("death", self.death))
            if pair is not None
        ]
        words = urlencode([*pairs, *([("run", str(self.run))] if self.run is not None else [])])
        return f"&{words}" if words else ""


NOTHING = Opened()


def opened_at(search: str | None) -> Opened:
    """What an address opens; words that make no sense open nothing."""
    try:
        words = parse_qs((search or "").lstrip("?")[:_LONGEST], max_num_fields=400)
    except ValueError:
        words = {}
    run = words.get("run", [""])[0]
    return Opened(
        _pair(_PLACE, words.get("place", [""])[0]),
        _pair(_DEATH, words.get("death", [""])[0]),
        int(run) if _ONE.fullmatch(run) else None,
    )


def _pair(pattern: re.Pattern[str], word: str) -> tuple[int, int] | None:
    found = pattern.fullmatch(word)
    return (int(found[1]), int(found[2])) if found else None
