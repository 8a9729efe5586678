"""Places and circumstances of deaths."""

from analysis.methods.entry import Method, Source, article
from analysis.methods.sources import SKELLAM

_WESTFALL = Source(
    "westfall1993",
    "Westfall & Young 1993, Resampling-Based Multiple Testing, Wiley",
    "@book{westfall1993, author={Westfall, Peter H. and Young, S. Stanley}, title={Resampling-Based Multiple "
    "Testing: Examples and Methods for p-Value Adjustment}, publisher={Wiley}, year={1993}}",
)
_BITHELL = article(
    "bithell1990",
    "Bithell, J. F.",
    1990,
    "An application of density estimation to geographical epidemiology",
    "Statistics in Medicine",
    "9:691-701",
)
_CLAYTON = article(
    "clayton1987",
    "Clayton, David and Kaldor, John",
    1987,
    "Empirical Bayes estimates of age-standardized relative risks for use in disease mapping",
    "Biometrics",
    "43:671-681",
)
_WOODS = article(
    "woods2015",
    "Woods, David L. and Wyma, John M. and Yund, E. William and Herron, Timothy J. and Reed, Bruce",
    2015,
    "Factors influencing the latency of simple reaction time",
    "Frontiers in Human Neuroscience",
    "9:131",
)

METHODS: dict[str, Method] = {
    "hot_spots": Method(
        "Places of death against time spent there",
        "Under chance, each player's deaths fall on the cells of the screen in proportion to the time that player "
        "spent in them (without logged positions nothing is tested). A cell is hot where it "
        "stands out more than in 95 % of 999 simulated playtests *any* cell does; of one player's deaths in a cell no "
        "more than twice the expected number and one count, so that a single player makes no hot place, "
        "and a hot cell needs two players. Causes and stages apart are corrected for all cells of all of them, and a "
        "cause is held against the time in those parts of the game in which it killed. The share of deaths that hot "
        "cells hold is of cells chosen by the same "
        "deaths, so another playtest will show a little less. The smooth map is the ratio of two kernel estimates, "
        "half a cell wide and drawn towards the rate of the whole screen by two expected deaths, so that a place with "
        "next to no time does not take on its neighbour's rate.",
        (_WESTFALL, _BITHELL, _CLAYTON, SKELLAM),
    ),
    "reaction_time": Method(
        "Age of the killing shot against human reaction time",
        "The time from the killing shot's firing to the death, as logged. Compared with the mean simple visual "
        "reaction time of 231 ms (213 ms once hardware delays are taken off; figures from memory), and with the 100 ms "
        "below which athletics counts a start as false (World Athletics Technical Rules, from memory). Choosing a way "
        "and moving there take longer, so the share is a lower limit. Share of deaths by player, as other shares.",
        (_WOODS,),
    ),
    "last_seconds": Method(
        "The last seconds before one death",
        "What was logged in the run from five seconds before the death to half a second after it; nothing is "
        "estimated. How far the player moved is the length of the way through the logged positions, so that turns "
        "between two samples are not in it. The time since the killing shot was fired is the log's own, and is held "
        "against the mean simple visual reaction time of 231 ms (figure from memory). One death is an example, never "
        "evidence of how often such a thing happens.",
        (_WOODS,),
    ),
}
