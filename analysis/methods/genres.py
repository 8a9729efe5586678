"""What belongs to one genre alone."""

from analysis.methods.entry import Method, Source
from analysis.methods.sources import HAUSMAN, KAPLAN, LIANG, WILLIAMS, WILSON

_MCCULLAGH = Source(
    "mccullagh1989",
    "McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., Chapman & Hall",
    "@book{mccullagh1989, author={McCullagh, Peter and Nelder, John A.}, title={Generalized Linear Models}, "
    "edition={2}, publisher={Chapman \\& Hall}, year={1989}}",
)
_FINNEY = Source(
    "finney1971",
    "Finney 1971, Probit Analysis, 3rd ed., Cambridge University Press",
    "@book{finney1971, author={Finney, D. J.}, title={Probit Analysis}, edition={3}, publisher={Cambridge University "
    "Press}, year={1971}}",
)
_ALDOUS = Source(
    "aldous1989",
    "Aldous 1989, Probability Approximations via the Poisson Clumping Heuristic, Springer",
    "@book{aldous1989, author={Aldous, David}, title={Probability Approximations via the Poisson Clumping Heuristic}, "
    "publisher={Springer}, year={1989}}",
)

METHODS: dict[str, Method] = {
    "slope_within_players": Method(
        "Death rates compared within players",
        "The log death rate's slope on what is compared (boss or not, tier, drop interval), each player having a level "
        "of its own (fixed-effects Poisson): a player who never came to a boss says nothing about bosses. Interval "
        "cluster-robust with t(players - 1).",
        (HAUSMAN, LIANG),
    ),
    "streaks": Method(
        "Survival of streaks, by player",
        "A streak begins at a run's start or after a miss and ends with the next miss; one that the run's end cut "
        "short is censored. Kaplan-Meier over shots, interval by player as for survival.",
        (KAPLAN, WILLIAMS, WILSON),
    ),
    "dose_response": Method(
        "Logistic dose-response, by player",
        "The log odds of a hit as a straight line in the target's speed, by maximum likelihood; covariance by player "
        "(sandwich, times players / (players - 1)), t(players - 1). The speed at which half of the shots hit has "
        "Fieller's interval. Speeds that the game raises with success are reached by better players, which flattens "
        "the line.",
        (_MCCULLAGH, _FINNEY, LIANG),
    ),
    "intervals": Method(
        "Times between events, by player",
        "Each player's median or coefficient of variation, then the mean over players with t(players - 1).",
    ),
    "longest_wait": Method(
        "The longest wait for a piece, compared with dice",
        "The longest series of pieces without a given one, and the chance of one at least as long somewhere in runs of "
        "as many independent draws of equally likely pieces (Poisson approximation), for the number of kinds looked "
        "at.",
        (_ALDOUS,),
    ),
}
