"""The ids that callbacks and assets/shell.js speak of, in one place."""

# Of the shell.
NAVIGATION = "navigation"
FILTER_BAR = "filter-bar"
BASIS = "basis"
MAIN = "main"
READING = "reading"
SAID = "said"
UNDO = "undo"
THEME_BUTTON = "theme-button"

# Of Dash.
ADDRESS = "address"
WORKING = "working"
CLOCK = "clock"
VERSION = "study-version"
MESSAGE = "message"
