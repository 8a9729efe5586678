"""The button with which the data leave the study."""

from dashboard.parts.cards import Shown, link
from dashboard.web.templating import part

_WORDS = (
    "The whole study, whatever is chosen above: runs, lives, deaths and notes of every game, build and player, as an "
    "Excel workbook, CSV and Parquet, with a sheet that explains the columns. Of the makers' own runs only the list of "
    "runs tells. Players go out as P1, P2, ..., and remarks, names of logs and times stay here. `setscrew export` does "
    "the same, and takes single games."
)


def card() -> Shown:
    """What it gives, the button, and the same with the players' tags."""
    without = link("Take all data along", "/data.zip", **{"class": "button", "download": "data.zip"})
    tagged = link("with the players' tags", "/data.zip?tags", **{"class": "button quiet", "download": "data.zip"})
    row = part("row", [without, tagged])
    return Shown(part("section", "Your own questions", part("note", _WORDS) + row, "card wide"))
