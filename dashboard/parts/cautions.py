"""The usual cautions, where they belong. Local rules of the school or workshop come first."""

from analysis.words import counted
from dashboard.state.dashboard_session import Session

WIRING = (
    "Wire the console's transmit pin to the adapter's receive pin, and ground to ground. Both sides must use "
    "3.3 V levels: "
    "a 5 V adapter can destroy the controller. Do not join the supply lines when the console has its own battery."
)
PRIVACY = (
    "Only tags such as P01 are stored, never names. Keep the list of who is who on paper, ask people before you "
    "record them, and follow your local rules on consent; for minors these usually ask for a guardian's."
)
SOUND = (
    "Keep the volume low when people wear headphones, and lower it between players. Long loud play harms hearing; "
    "follow your local rules on sound levels."
)
FLASHING = (
    "Flashing can trigger seizures. WCAG 2.2, success criterion 2.3.1, allows no more than three flashes in any one "
    "second. Warn people beforehand, and stop when anybody feels unwell."
)


def flashing(session: Session, game: str) -> tuple[str, bool]:
    """What the logged flashes say against WCAG 2.2, 2.3.1, and whether it is a warning."""
    found = session.ask("game_flashes", game=game)
    most, flashes, over = (int(found[name][0]) for name in ("most", "flashes", "runs_over"))
    if not flashes:
        return "The game logs no flashes (role `flash`), so nobody counted them. " + FLASHING, False
    if most > 3:
        return (
            f"Up to {counted(most, 'flash', 'flashes')} within one second, in {counted(over, 'run')}: more "
            "than the three that "
            "WCAG 2.2, success criterion 2.3.1, allows. Slow them down before the next playtest.",
            True,
        )
    return (
        f"At most {counted(most, 'flash', 'flashes')} within any one second of {number_of(flashes)}: within "
        "the three that WCAG 2.2, "
        "success criterion 2.3.1, allows.",
        False,
    )


def number_of(flashes: int) -> str:
    """ "12 logged flashes"."""
    return counted(flashes, "logged flash", "logged flashes")
