"""Can the data be trusted, and is it the player or the console?"""

from analysis.methods.entry import Method, article
from analysis.methods.sources import LIANG

_THEIL = article(
    "theil1950",
    "Theil, H.",
    1950,
    "A rank-invariant method of linear and polynomial regression analysis",
    "Indagationes Mathematicae",
    "12:85-91",
)
_SEN = article(
    "sen1968",
    "Sen, P. K.",
    1968,
    "Estimates of the regression coefficient based on Kendall's tau",
    "Journal of the American Statistical Association",
    "63:1379-1389",
)

METHODS: dict[str, Method] = {
    "console.bounce": Method(
        "Presses faster than fingers",
        "Presses that follow another of the same button within 30 ms (common practice, no source: contacts bounce for "
        "a few milliseconds, fingers tap at most some twelve times a second). Share by player, as other shares.",
    ),
    "console.polling": Method(
        "Steps between presses",
        "The longest period of which the times between presses are multiples, as in timing.polling.",
    ),
    "console.slide": Method(
        "Noise at rest",
        "The standard deviation of a sampled input or position within stretches of eight samples in which it was held "
        "still (halves with the same mean, range below 5 % of the travel); raw units become pixels by the slope of "
        "position on input.",
    ),
    "console.slow_frames": Method(
        "Deaths just after slow frames",
        "The share of deaths within 250 ms after a slow frame, by player, beside the share that would be "
        "if each player's deaths fell anywhere in that player's time alive: were slow frames harmless, the two would "
        "agree.",
        (LIANG,),
    ),
    "lost_events": Method(
        "Losses, counted and estimated",
        "Gaps in the packets' sequence numbers, packets with a wrong checksum, and the console's own count of events "
        "it had to drop. A lost packet is taken to have held as many events as the others.",
    ),
    "clock_drift": Method(
        "Drift of the console's clock",
        "Of each of 20 windows the packet that arrived least late; the median of the slopes between all pairs of them.",
        (_THEIL, _SEN),
    ),
}
