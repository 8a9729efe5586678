"""Survival, shares and rates."""

from analysis.methods.entry import Method, article
from analysis.methods.sources import HAUSMAN, KAPLAN, LIANG, PHIPSON, SKELLAM, WILLIAMS, WILSON

_ROTHMAN = article(
    "rothman1978",
    "Rothman, Kenneth J.",
    1978,
    "Estimation of confidence limits for the cumulative probability of survival in life table analysis",
    "Journal of Chronic Diseases",
    "31:557-560",
)
_AALEN = article(
    "aalen1978",
    "Aalen, Odd O. and Johansen, Søren",
    1978,
    "An empirical transition matrix for non-homogeneous Markov chains based on censored observations",
    "Scandinavian Journal of Statistics",
    "5:141-150",
)
_GARWOOD = article(
    "garwood1936", "Garwood, F.", 1936, "Fiducial limits for the Poisson distribution", "Biometrika", "28:437-442"
)
_EFRON_STEIN = article(
    "efron1981",
    "Efron, Bradley and Stein, Charles",
    1981,
    "The jackknife estimate of variance",
    "The Annals of Statistics",
    "9(3):586-596",
)
_MANTEL = article(
    "mantel1966",
    "Mantel, Nathan",
    1966,
    "Evaluation of survival data and two new rank order statistics arising in its consideration",
    "Cancer Chemotherapy Reports",
    "50:163-170",
)
_ROYSTON = article(
    "royston2013",
    "Royston, Patrick and Parmar, Mahesh K. B.",
    2013,
    "Restricted mean survival time: an alternative to the hazard ratio for the design and analysis of randomized "
    "trials with a time-to-event outcome",
    "BMC Medical Research Methodology",
    "13:152",
)
_ANDERSEN = article(
    "andersen1982",
    "Andersen, P. K. and Gill, R. D.",
    1982,
    "Cox's regression model for counting processes: a large sample study",
    "The Annals of Statistics",
    "10:1100-1120",
)
_LIN = article(
    "lin1989",
    "Lin, D. Y. and Wei, L. J.",
    1989,
    "The robust inference for the Cox proportional hazards model",
    "Journal of the American Statistical Association",
    "84:1074-1078",
)

_HIGHEST = (
    "One that is named for being the highest of several is held against the same players' others (fixed-effects "
    "Poisson, cluster-robust with t, never less than Poisson's variance, corrected for their number by Bonferroni)."
)

METHODS: dict[str, Method] = {
    "count": Method("Count", "Counted in the chosen runs; no interval, nothing estimated."),
    "survival_by_player": Method(
        "Kaplan-Meier, by player",
        "The product-limit estimate; quits, cut logs and whatever else ended it is censored. The interval takes "
        "players, not runs, as independent: cluster-robust variance on the complementary log-log scale with "
        "t(players - 1), each limit raised to that of the score interval with the effective number of runs where that "
        "is higher (the lower limit only from one half on); "
        "where nobody or everybody died, Wilson's interval with n = players. A median's interval is where the limits "
        "of the curve cross one half; a restricted mean is the area under the curve up to the horizon named.",
        (KAPLAN, WILLIAMS, _ROTHMAN, WILSON),
    ),
    "hazard_by_time": Method(
        "Death rate by time alive, by player",
        "Deaths within each stretch of time over the time spent in it, with the interval of a rate by player "
        "(jackknife over players on the log scale, t(players - 1)). The stretches hold about equally many deaths. "
        + _HIGHEST,
        (_EFRON_STEIN, _GARWOOD, HAUSMAN),
    ),
    "cumulative_incidence": Method(
        "Cumulative incidence of competing ends, by player",
        "The Aalen-Johansen share of runs that ended in each way by each time alive; cut logs are censored. Interval: "
        "cluster-robust on the complementary log-log scale with t(players - 1).",
        (_AALEN, WILLIAMS),
    ),
    "permuted_players": Method(
        "Builds compared by permuting players",
        "Log-rank statistic and difference of restricted means. Players who played one build are shuffled between the "
        "builds; players who played both have their two builds swapped. All arrangements where there are few, else "
        "1,999 random ones. The interval of the difference is cluster-robust with t.",
        (_MANTEL, _ROYSTON, PHIPSON),
    ),
    "recurrent_cox": Method(
        "Cox's model for lives, by player",
        "Hazard ratios of dying on the clock of the life, in stretches of one stage and tier (Andersen-Gill, "
        "Efron's ties). Errors by player: score residuals summed over a player's lives, times players / (players - 1), "
        "t(players - 1). Only factors that vary are fitted, and only with ten deaths for each. The one that is named "
        "is the strongest; where it would not stand a correction for their number (Bonferroni), the sentence says so.",
        (_ANDERSEN, _LIN),
    ),
    "rate_by_player": Method(
        "Events per time of exposure, by player",
        "All events over all exposure. The interval takes players as independent: the jackknife variance of the log "
        "rate over players, with t(players - 1), never less than Poisson's. No events: Garwood's upper limit. "
        + _HIGHEST,
        (_EFRON_STEIN, _GARWOOD, HAUSMAN),
    ),
    "share_by_player": Method(
        "Pooled share, by player",
        "All successes over all trials. The interval takes players as independent: robust logit with t(players - 1); "
        "from 90 % on (and up to 10 %) the profile likelihood of a beta-binomial with a t-squared cut, because the "
        "robust interval is too short there; at 0 and 100 % at least Wilson's with n = players.",
        (LIANG, SKELLAM, WILSON),
    ),
}
