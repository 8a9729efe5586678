"""The ids that callbacks speak of, in one place."""

ADDRESS = "address"
MAIN = "main"
NAVIGATION = "navigation"
FILTER_BAR = "filter-bar"
BASIS = "basis"
THEME_CHOICE = "theme-choice"
THEME_BUTTON = "theme-button"
THEME_NOW = "theme-now"
CLOCK = "clock"
VERSION = "study-version"
MESSAGE = "message"
UNDO = "undo"

# The controls of the filter bar: {"filter": name}, matched by pattern because they are rebuilt with each game.
FILTERS = ("game", "builds", "stage", "players", "attempts", "makers")


def filter_id(name: str) -> dict[str, str]:
    """The id of one control of the filter bar."""
    return {"type": "filter", "name": name}
