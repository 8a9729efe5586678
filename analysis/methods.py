"""How each number was made, in words for the report, with its sources."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """A publication; `bibtex` is its whole entry."""

    key: str
    text: str
    bibtex: str


@dataclass(frozen=True)
class Method:
    """What a finding's `method` key stands for."""

    name: str
    text: str
    sources: tuple[Source, ...] = ()


METHODS: dict[str, Method] = {}

# Timing of presses (rhythm games).
_REPP = Source(
    "repp2005",
    "Repp 2005, Sensorimotor synchronization: a review of the tapping literature, Psychon. Bull. Rev. 12:969-992",
    "@article{repp2005, author={Repp, Bruno H.}, title={Sensorimotor synchronization: A review of the tapping "
    "literature}, journal={Psychonomic Bulletin \\& Review}, volume={12}, number={6}, pages={969--992}, year={2005}}",
)
_LIANG = Source(
    "liang1986",
    "Liang & Zeger 1986, Longitudinal data analysis using generalized linear models, Biometrika 73:13-22",
    "@article{liang1986, author={Liang, Kung-Yee and Zeger, Scott L.}, title={Longitudinal data analysis using "
    "generalized linear models}, journal={Biometrika}, volume={73}, number={1}, pages={13--22}, year={1986}}",
)
_HOLM = Source(
    "holm1979",
    "Holm 1979, A simple sequentially rejective multiple test procedure, Scand. J. Stat. 6:65-70",
    "@article{holm1979, author={Holm, Sture}, title={A simple sequentially rejective multiple test procedure}, "
    "journal={Scandinavian Journal of Statistics}, volume={6}, number={2}, pages={65--70}, year={1979}}",
)
_SKELLAM = Source(
    "skellam1948",
    "Skellam 1948, A probability distribution derived from the binomial, J. R. Stat. Soc. B 10:257-261",
    "@article{skellam1948, author={Skellam, J. G.}, title={A probability distribution derived from the binomial "
    "distribution by regarding the probability of success as variable between the sets of trials}, journal={Journal "
    "of the Royal Statistical Society B}, volume={10}, number={2}, pages={257--261}, year={1948}}",
)
_WING = Source(
    "wing1973",
    "Wing & Kristofferson 1973, Response delays and the timing of discrete motor responses, Percept. "
    "Psychophys. 14:5-12",
    "@article{wing1973, author={Wing, Alan M. and Kristofferson, Alfred B.}, title={Response delays and the timing of "
    "discrete motor responses}, journal={Perception \\& Psychophysics}, volume={14}, number={1}, "
    "pages={5--12}, year={1973}}",
)
_COHEN = Source(
    "cohen1950",
    "Cohen 1950, Estimating the mean and variance of normal populations from singly truncated and doubly truncated "
    "samples, Ann. Math. Stat. 21:557-569",
    "@article{cohen1950, author={Cohen, A. C.}, title={Estimating the mean and variance of normal populations from "
    "singly truncated and doubly truncated samples}, journal={Annals of Mathematical Statistics}, volume={21}, "
    "number={4}, pages={557--569}, year={1950}}",
)
_GELMAN = Source(
    "gelman2013",
    "Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., CRC Press, section 3.6",
    "@book{gelman2013, author={Gelman, Andrew and Carlin, John B. and Stern, Hal S. and Dunson, David B. and Vehtari, "
    "Aki and Rubin, Donald B.}, title={Bayesian Data Analysis}, edition={3}, publisher={CRC Press}, year={2013}}",
)
_RUBIN = Source(
    "rubin1981",
    "Rubin 1981, The Bayesian bootstrap, Ann. Stat. 9:130-134",
    "@article{rubin1981, author={Rubin, Donald B.}, title={The Bayesian bootstrap}, journal={Annals of Statistics}, "
    "volume={9}, number={1}, pages={130--134}, year={1981}}",
)
_MARDIA = Source(
    "mardia2000",
    "Mardia & Jupp 2000, Directional Statistics, Wiley",
    "@book{mardia2000, author={Mardia, Kanti V. and Jupp, Peter E.}, title={Directional Statistics}, "
    "publisher={Wiley}, year={2000}}",
)
_MATCHED = (
    "Each press is matched to at most one note of its lane, so that the sum of what each pair is worth is largest: a "
    "pair is worth less the further press and note are apart, and nothing beyond the reach. The error is press - due; "
    "the console judges press - input offset - due. "
)
METHODS |= {
    "timing.share_robust_logit": Method(
        "Share of notes hit, interval by player",
        _MATCHED
        + "Pooled share of hits with a cluster-robust interval on the logit scale and Student's t with players - 1 "
        "degrees of freedom, because the notes of one player are not independent.",
        (_LIANG,),
    ),
    "timing.share_beta_binomial": Method(
        "Share of notes hit, beta-binomial profile interval",
        _MATCHED
        + "From 90 % on, the interval is the profile likelihood of a beta-binomial model with players as units: the "
        "robust interval is too short there.",
        (_SKELLAM,),
    ),
    "timing.share_wilson_players": Method(
        "Share of notes hit when all or none were",
        _MATCHED + "The wider of the beta-binomial profile and Wilson's interval with n = players.",
    ),
    "timing.share_none": Method("Share of notes hit", _MATCHED + "One player gives no interval."),
    "timing.accuracy_curve": Method(
        "Hit share as a function of the window",
        _MATCHED
        + "Every press is judged again with each window; a note without a press is a miss in all of them. Intervals "
        "by player: robust logit with t below 90 %, beta-binomial profile from there on.",
        (_LIANG, _SKELLAM),
    ),
    "timing.asymmetric": Method(
        "Early and late edges apart",
        _MATCHED + "Every press is judged again with each pair of edges; players count alike.",
    ),
    "timing.errors": Method(
        "Bias, spread and lapses of players",
        _MATCHED
        + "Bias is a player's median error, spread half the distance between the quartiles over 0.6745, lapses the "
        "share of notes without a press. The interval of the class is Student's over players. The correlation of "
        "neighbouring errors tells corrections from drift.",
        (_REPP, _WING),
    ),
    "timing.within_player": Method(
        "Compared within players",
        "Least squares with an effect for each player (and song, where songs are not what is compared) and one for "
        "each level; cluster-robust intervals by player with t(players - 1); p values corrected for the number of "
        "levels by Holm. Errors are pulled in to three spreads of the player first.",
        (_LIANG, _HOLM),
    ),
    "timing.drift": Method(
        "Drift along the song",
        "The slope of each player's errors against the time in the song, each run about its own level; mean over "
        "players with Student's interval. One microsecond a second is one part per million.",
    ),
    "timing.truncation": Method(
        "Are presses outside the window logged?",
        "Presses in the outermost sixth of the window against an equal stretch beyond it; fewer beyond than a third of "
        "the density inside allows (binomial, 0.001) means they are not logged. Each player's errors are then fitted "
        "as a normal distribution of which only the window is seen.",
        (_COHEN,),
    ),
    "timing.latency": Method(
        "Latency and habit",
        "Player's median errors compared between the logs of consoles: within players who tried several, else between "
        "players (Welch's interval for the two extremes). A constant latency and a habit shared by all cannot be told "
        "apart from one console's log; people tapping with a sound anticipate it by some tens of milliseconds.",
        (_REPP,),
    ),
    "timing.polling": Method(
        "Polling of the buttons",
        "The period the log declares, else the longest one of which the distances between presses are multiples (mean "
        "resultant length above 0.8). A press is taken to be seen evenly between 0 and one period late.",
        (_MARDIA,),
    ),
    "timing.grades": Method(
        "The console's own verdicts",
        "Verdicts counted by grade as the console gave them; intervals by player: robust logit with t, beta-binomial "
        "profile from 90 % and up to 10 %.",
        (_LIANG, _SKELLAM),
    ),
    "timing.proposal": Method(
        "Window and offset from new players' predicted hit share",
        _MATCHED
        + "A hierarchical model: each player has a bias, a log spread and a logit of lapses, jointly normal over "
        "players; songs shift all three with shrinkage, attempts the spread; errors within a player follow a shape "
        "estimated from all of them. Presses the console did not log enter as such. Sampled by Markov chain Monte "
        "Carlo; predictions are for players not yet seen: in half of the draws from that normal distribution, in "
        "the other half like the players seen, with the weights of a Bayesian bootstrap.",
        (_GELMAN, _WING, _RUBIN),
    ),
}


# Survival, deaths, players and play behaviour.
def _article(key: str, authors: str, year: int, title: str, journal: str, where: str) -> Source:
    """A journal article; `where` is "volume:pages" or "volume(number):pages"; authors are joined by "and"."""
    volume, pages = where.split(":")
    number = volume.partition("(")[2].rstrip(")")
    volume = volume.partition("(")[0]
    names = [name.partition(",")[0] for name in authors.split(" and ")]
    short = names[0] if len(names) == 1 else f"{names[0]} et al." if len(names) > 2 else " & ".join(names)
    numbered = f", number={{{number}}}" if number else ""
    return Source(
        key,
        f"{short} {year}, {title}, {journal} {where}",
        f"@article{{{key}, author={{{authors}}}, title={{{title}}}, journal={{{journal}}}, volume={{{volume}}}"
        f"{numbered}, pages={{{pages.replace('-', '--')}}}, year={{{year}}}}}",
    )


_KAPLAN = _article(
    "kaplan1958", "Kaplan, E. L. and Meier, Paul", 1958,
    "Nonparametric estimation from incomplete observations",
    "Journal of the American Statistical Association", "53(282):457-481",
)  # fmt: skip
_WILLIAMS = _article(
    "williams1995", "Williams, Rick L.", 1995,
    "Product-limit survival functions with correlated survival times", "Lifetime Data Analysis", "1:171-186",
)  # fmt: skip
_ROTHMAN = _article(
    "rothman1978", "Rothman, Kenneth J.", 1978,
    "Estimation of confidence limits for the cumulative probability of survival in life table analysis",
    "Journal of Chronic Diseases", "31:557-560",
)  # fmt: skip
_WILSON = _article(
    "wilson1927", "Wilson, Edwin B.", 1927, "Probable inference, the law of succession, and statistical inference",
    "Journal of the American Statistical Association", "22(158):209-212",
)  # fmt: skip
_AALEN = _article(
    "aalen1978", "Aalen, Odd O. and Johansen, Søren", 1978,
    "An empirical transition matrix for non-homogeneous Markov chains based on censored observations",
    "Scandinavian Journal of Statistics", "5:141-150",
)  # fmt: skip
_GARWOOD = _article(
    "garwood1936",
    "Garwood, F.",
    1936,
    "Fiducial limits for the Poisson distribution",
    "Biometrika",
    "28:437-442",
)
_EFRON_STEIN = _article(
    "efron1981", "Efron, Bradley and Stein, Charles", 1981, "The jackknife estimate of variance",
    "The Annals of Statistics", "9(3):586-596",
)  # fmt: skip
_MANTEL = _article(
    "mantel1966", "Mantel, Nathan", 1966,
    "Evaluation of survival data and two new rank order statistics arising in its consideration",
    "Cancer Chemotherapy Reports", "50:163-170",
)  # fmt: skip
_ROYSTON = _article(
    "royston2013", "Royston, Patrick and Parmar, Mahesh K. B.", 2013,
    "Restricted mean survival time: an alternative to the hazard ratio for the design and analysis of randomized "
    "trials with a time-to-event outcome", "BMC Medical Research Methodology", "13:152",
)  # fmt: skip
_PHIPSON = _article(
    "phipson2010", "Phipson, Belinda and Smyth, Gordon K.", 2010,
    "Permutation p-values should never be zero: calculating exact p-values when permutations are randomly drawn",
    "Statistical Applications in Genetics and Molecular Biology", "9:39",
)  # fmt: skip
_WESTFALL = Source(
    "westfall1993",
    "Westfall & Young 1993, Resampling-Based Multiple Testing, Wiley",
    "@book{westfall1993, author={Westfall, Peter H. and Young, S. Stanley}, title={Resampling-Based Multiple "
    "Testing: Examples and Methods for p-Value Adjustment}, publisher={Wiley}, year={1993}}",
)
_ORD = _article(
    "ord1995", "Ord, J. K. and Getis, Arthur", 1995,
    "Local spatial autocorrelation statistics: distributional issues and an application", "Geographical Analysis",
    "27:286-306",
)  # fmt: skip
_BITHELL = _article(
    "bithell1990", "Bithell, J. F.", 1990, "An application of density estimation to geographical epidemiology",
    "Statistics in Medicine", "9:691-701",
)  # fmt: skip
METHODS |= {
    "count": Method("Count", "Counted in the chosen runs; no interval, nothing estimated."),
    "survival_by_player": Method(
        "Kaplan-Meier, by player",
        "The product-limit estimate; quits, cut logs and whatever else ended it is censored. The interval takes "
        "players, not runs, as independent: cluster-robust variance on the complementary log-log scale with "
        "t(players - 1), each limit raised to that of the score interval with the effective number of runs where that "
        "is higher (the lower limit only from one half on); "
        "where nobody or everybody died, Wilson's interval with n = players. A median's interval is where the limits "
        "of the curve cross one half; a restricted mean is the area under the curve up to the horizon named.",
        (_KAPLAN, _WILLIAMS, _ROTHMAN, _WILSON),
    ),
    "hazard_by_time": Method(
        "Death rate by time alive, by player",
        "Deaths within each stretch of time over the time spent in it, with the interval of a rate by player "
        "(jackknife over players on the log scale, t(players - 1)). The stretches hold about equally many deaths.",
        (_EFRON_STEIN, _GARWOOD),
    ),
    "rate_by_player": Method(
        "Events per time of exposure, by player",
        "All events over all exposure. The interval takes players as independent: the jackknife variance of the log "
        "rate over players, with t(players - 1), never less than Poisson's. No events: Garwood's upper limit.",
        (_EFRON_STEIN, _GARWOOD),
    ),
    "share_by_player": Method(
        "Pooled share, by player",
        "All successes over all trials. The interval takes players as independent: robust logit with t(players - 1); "
        "from 90 % on (and up to 10 %) the profile likelihood of a beta-binomial with a t-squared cut, because the "
        "robust interval is too short there; at 0 and 100 % at least Wilson's with n = players.",
        (_LIANG, _SKELLAM, _WILSON),
    ),
    "cumulative_incidence": Method(
        "Cumulative incidence of competing ends, by player",
        "The Aalen-Johansen share of runs that ended in each way by each time alive; cut logs are censored. Interval: "
        "cluster-robust on the complementary log-log scale with t(players - 1).",
        (_AALEN, _WILLIAMS),
    ),
    "permuted_players": Method(
        "Builds compared by permuting players",
        "Log-rank statistic and difference of restricted means. Players who played one build are shuffled between the "
        "builds; players who played both have their two builds swapped. All arrangements where there are few, else "
        "1,999 random ones. The interval of the difference is cluster-robust with t.",
        (_MANTEL, _ROYSTON, _PHIPSON),
    ),
    "hot_spots": Method(
        "Places of death against time spent there",
        "Under chance, each player's deaths fall on the cells of the screen in proportion to the time that player "
        "spent in them (without logged positions nothing is tested). A cell is hot where it "
        "stands out more than in 95 % of 999 simulated playtests *any* cell does; of one player's deaths in a cell no "
        "more than twice the expected number and two count, so that a single player makes no hot place, "
        "and a hot cell needs two players. The share of deaths that hot cells hold is of cells chosen by the same "
        "deaths, so another playtest will show a little less. The smooth map is the ratio of two kernel estimates; "
        "G* says where deaths cluster, whatever time was spent there.",
        (_WESTFALL, _BITHELL, _ORD, _SKELLAM),
    ),
}
_WOODS = _article(
    "woods2015", "Woods, David L. and Wyma, John M. and Yund, E. William and Herron, Timothy J. and Reed, Bruce", 2015,
    "Factors influencing the latency of simple reaction time", "Frontiers in Human Neuroscience", "9:131",
)  # fmt: skip
METHODS |= {
    "reaction_time": Method(
        "Age of the killing shot against human reaction time",
        "The time from the killing shot's firing to the death, as logged. Compared with the mean simple visual "
        "reaction time of 231 ms (213 ms once hardware delays are taken off; figures from memory), and with the 100 ms "
        "below which athletics counts a start as false (World Athletics Technical Rules, from memory). Choosing a way "
        "and moving there take longer, so the share is a lower limit. Share of deaths by player, as other shares.",
        (_WOODS,),
    ),
}

# Tuning: outcome models, proposals, playtests compared with what had been predicted.
_TIERNEY = Source(
    "tierney1986",
    "Tierney & Kadane 1986, Accurate approximations for posterior moments and marginal densities, JASA 81:82-86",
    "@article{tierney1986, author={Tierney, Luke and Kadane, Joseph B.}, title={Accurate approximations for posterior "
    "moments and marginal densities}, journal={Journal of the American Statistical Association}, volume={81}, "
    "number={393}, pages={82--86}, year={1986}}",
)
_PINHEIRO = Source(
    "pinheiro1995",
    "Pinheiro & Bates 1995, Approximations to the log-likelihood function in the nonlinear mixed-effects model, "
    "J. Comput. Graph. Stat. 4:12-35",
    "@article{pinheiro1995, author={Pinheiro, Jos\\'e C. and Bates, Douglas M.}, title={Approximations to the "
    "log-likelihood function in the nonlinear mixed-effects model}, journal={Journal of Computational and Graphical "
    "Statistics}, volume={4}, number={1}, pages={12--35}, year={1995}}",
)
_AITKIN = Source(
    "aitkin1981",
    "Aitkin 1981, A note on the regression analysis of censored data, Technometrics 23:161-163",
    "@article{aitkin1981, author={Aitkin, Murray}, title={A note on the regression analysis of censored data}, "
    "journal={Technometrics}, volume={23}, number={2}, pages={161--163}, year={1981}}",
)
_NEWCOMBE_DIFFERENCE = Source(
    "newcombe1998b",
    "Newcombe 1998, Interval estimation for the difference between independent proportions, Stat. Med. 17:873-890",
    "@article{newcombe1998b, author={Newcombe, Robert G.}, title={Interval estimation for the difference between "
    "independent proportions: comparison of eleven methods}, journal={Statistics in Medicine}, volume={17}, "
    "number={8}, pages={873--890}, year={1998}}",
)
METHODS |= {
    "tuning.staged": Method(
        "Hierarchical hazard model and outcome chain",
        "Deaths a second alive follow a Poisson model with a level for each segment (stage or boss), a normal effect "
        "of each player, powers of the attempt and of the fire rate, and an effect of the weapon's tier; priors are "
        "stated with each proposal. The posterior is drawn by importance resampling from Laplace approximations over a "
        "grid of the players' spread, with the players' effects integrated by adaptive Gauss-Hermite quadrature. Clear "
        "times are log-normal, broken-off visits censored; tier rises, quitting and giving up are estimated beside it. "
        "Outcomes are computed by a Markov chain over segment, lives and tier, averaged over new players' skill. A "
        "proposal has the least posterior mean miss of the targets among the values that the firmware can hold; its "
        "chance of being better is the share of the posterior in which it misses by less than no change does.",
        (_TIERNEY, _PINHEIRO, _AITKIN),
    ),
    "tuning.trials": Method(
        "Hierarchical logistic dose-response",
        "Success of a shot follows a logistic model with a normal effect of each player, a power of the attempt and a "
        "slope in the logarithm of the target's speed; the posterior is drawn as in the hazard model. A streak is the "
        "number of successes before a run's first miss, computed from the chances of the run's successive shots.",
        (_TIERNEY, _PINHEIRO),
    ),
    "tuning.between_builds": Method(
        "Plain dose-response between builds",
        "A logistic regression of the target's outcome on the value of one tunable, over the builds that were played, "
        "one result a player. It knows nothing of the game: it draws a line between builds, and whatever else differed "
        "between their playtests is in it.",
        (),
    ),
    "progress.compared": Method(
        "Difference between two builds, by player",
        "Each player counts once with the share of their runs (of the target's attempt) that met the target; the "
        "interval of the difference of two shares is Newcombe's hybrid of Wilson intervals with the players as n. "
        "Players who played both builds are compared within themselves, with a t interval over players.",
        (_NEWCOMBE_DIFFERENCE,),
    ),
}
_GREENWOOD_YULE = _article(
    "greenwood1920", "Greenwood, Major and Yule, G. Udny", 1920,
    "An inquiry into the nature of frequency distributions representative of multiple happenings",
    "Journal of the Royal Statistical Society", "83:255-279",
)  # fmt: skip
_HAUSMAN = _article(
    "hausman1984", "Hausman, Jerry and Hall, Bronwyn H. and Griliches, Zvi", 1984,
    "Econometric models for count data with an application to the patents-R&D relationship", "Econometrica",
    "52:909-938",
)  # fmt: skip
_BONETT = _article(
    "bonett2000", "Bonett, Douglas G. and Wright, Thomas A.", 2000,
    "Sample size requirements for estimating Pearson, Kendall and Spearman correlations", "Psychometrika", "65:23-28",
)  # fmt: skip
METHODS |= {
    "spread_of_players": Method(
        "Spread of skill, free of chance",
        "A player's deaths are Poisson around time alive times the common rate times the player's own factor, which is "
        "gamma-distributed with mean 1; its standard deviation by maximum likelihood with profile limits. A player's "
        "own rate is drawn towards the common one as far as its data are thin.",
        (_GREENWOOD_YULE,),
    ),
    "learning_within_players": Method(
        "Learning, compared with oneself",
        "The slope of the log death rate on the log attempt, each player having a level of its own (fixed-effects "
        "Poisson), so that players who stop early do not make the others look as if they had learned. Interval "
        "cluster-robust with t(players - 1).",
        (_HAUSMAN, _LIANG),
    ),
    "rank_correlation": Method(
        "Spearman's rank correlation over players",
        "Ratings and outcomes averaged by player, then ranked; interval on Fisher's scale with the standard error "
        "sqrt((1 + r^2/2) / (n - 3)). A correlation is no cause.",
        (_BONETT,),
    ),
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
        "The share of deaths within 250 ms after a slow frame, by player, beside the share of playing time that lies "
        "so close after one: were slow frames harmless, the two would agree.",
        (_LIANG,),
    ),
}
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
METHODS |= {
    "slope_within_players": Method(
        "Death rates compared within players",
        "The log death rate's slope on what is compared (boss or not, tier, drop interval), each player having a level "
        "of its own (fixed-effects Poisson): a player who never came to a boss says nothing about bosses. Interval "
        "cluster-robust with t(players - 1).",
        (_HAUSMAN, _LIANG),
    ),
    "streaks": Method(
        "Survival of streaks, by player",
        "A streak begins at a run's start or after a miss and ends with the next miss; one that the run's end cut "
        "short is censored. Kaplan-Meier over shots, interval by player as for survival.",
        (_KAPLAN, _WILLIAMS, _WILSON),
    ),
    "dose_response": Method(
        "Logistic dose-response, by player",
        "The log odds of a hit as a straight line in the target's speed, by maximum likelihood; covariance by player "
        "(sandwich, times players / (players - 1)), t(players - 1). The speed at which half of the shots hit has "
        "Fieller's interval. Speeds that the game raises with success are reached by better players, which flattens "
        "the line.",
        (_MCCULLAGH, _FINNEY, _LIANG),
    ),
    "intervals": Method(
        "Times between events, by player",
        "Each player's median or coefficient of variation, then the mean over players with t(players - 1).",
    ),
    "droughts": Method(
        "Droughts of pieces against dice",
        "The longest series of pieces without a given one, and the chance of one at least as long somewhere in as many "
        "independent draws of equally likely pieces (Poisson approximation), for the number of kinds looked at.",
        (_ALDOUS,),
    ),
}
_ANDERSEN = _article(
    "andersen1982", "Andersen, P. K. and Gill, R. D.", 1982,
    "Cox's regression model for counting processes: a large sample study", "The Annals of Statistics", "10:1100-1120",
)  # fmt: skip
_LIN = _article(
    "lin1989", "Lin, D. Y. and Wei, L. J.", 1989, "The robust inference for the Cox proportional hazards model",
    "Journal of the American Statistical Association", "84:1074-1078",
)  # fmt: skip
METHODS |= {
    "recurrent_cox": Method(
        "Cox's model for lives, by player",
        "Hazard ratios of dying on the clock of the life, in stretches of one stage and tier (Andersen-Gill, "
        "Efron's ties). Errors by player: score residuals summed over a player's lives, times players / (players - 1), "
        "t(players - 1). Only factors that vary are fitted, and only with ten deaths for each.",
        (_ANDERSEN, _LIN),
    ),
}
_THEIL = _article(
    "theil1950", "Theil, H.", 1950, "A rank-invariant method of linear and polynomial regression analysis",
    "Indagationes Mathematicae", "12:85-91",
)  # fmt: skip
_SEN = _article(
    "sen1968", "Sen, P. K.", 1968, "Estimates of the regression coefficient based on Kendall's tau",
    "Journal of the American Statistical Association", "63:1379-1389",
)  # fmt: skip
METHODS |= {
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

METHODS |= {
    "games.side_by_side": Method(
        "Games side by side",
        "Each game's figure with its interval by player: shares as elsewhere, lengths and ratings as the mean of the "
        "players' own means with Student's t. The highest is held against each other game by permuting players "
        "between the two (1,999 random permutations); p is corrected for the number of games by Holm. Runs that were "
        "cut off count neither as finished nor as given up.",
        (_HOLM, _PHIPSON),
    ),
}
