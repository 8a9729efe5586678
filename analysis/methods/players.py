"""Players, their learning and ratings; games side by side."""

from analysis.methods.entry import Method, article
from analysis.methods.sources import HAUSMAN, HOLM, LIANG, PHIPSON

_GREENWOOD_YULE = article(
    "greenwood1920",
    "Greenwood, Major and Yule, G. Udny",
    1920,
    "An inquiry into the nature of frequency distributions representative of multiple happenings",
    "Journal of the Royal Statistical Society",
    "83:255-279",
)
_BONETT = article(
    "bonett2000",
    "Bonett, Douglas G. and Wright, Thomas A.",
    2000,
    "Sample size requirements for estimating Pearson, Kendall and Spearman correlations",
    "Psychometrika",
    "65:23-28",
)

_BLAND = article(
    "bland1995",
    "Bland, J. Martin and Altman, Douglas G.",
    1995,
    "Calculating correlation coefficients with repeated observations: Part 1, correlation within subjects",
    "BMJ",
    "310:446",
)

METHODS: dict[str, Method] = {
    "spread_of_players": Method(
        "Spread of skill, free of chance",
        "A player's deaths are Poisson around time alive times the common rate times the player's own factor, which is "
        "gamma-distributed with mean 1; its standard deviation by maximum likelihood with profile limits, cut at "
        "t(players - 1) squared. A player's own rate is drawn towards the common one as far as its data are thin, "
        "averaged over the spreads that the profile allows.",
        (_GREENWOOD_YULE,),
    ),
    "learning_within_players": Method(
        "Learning, compared with oneself",
        "The slope of the log death rate on the log attempt, each player having a level of its own (fixed-effects "
        "Poisson), so that players who stop early do not make the others look as if they had learned. Interval "
        "cluster-robust with t(players - 1).",
        (HAUSMAN, LIANG),
    ),
    "rank_correlation": Method(
        "Spearman's rank correlation over players",
        "Ratings and outcomes averaged by player, then ranked; interval on Fisher's scale with the standard error "
        "sqrt((1 + r^2/2) / (n - 3)). Within players: ranks among each player's own runs, centred on the player, "
        "interval by the jackknife over players on Fisher's scale with t(players - 1). Where a few players agree in "
        "full, the interval still says that they may do so by chance. A correlation is no cause.",
        (_BONETT, _BLAND),
    ),
    "games.side_by_side": Method(
        "Games side by side",
        "Each game's figure with its interval by player: shares as elsewhere, lengths and ratings as the mean of the "
        "players' own means with Student's t. The highest is held against each other game by permuting players "
        "between the two (1,999 random permutations); p is corrected for the other games by Holm and, because any of "
        "them could have been the highest, for all pairs (times half the number of games). Runs that were cut off "
        "count neither as finished nor as given up.",
        (HOLM, PHIPSON),
    ),
}
