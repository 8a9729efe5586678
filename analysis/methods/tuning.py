"""Outcome models, proposals, and playtests compared with what had been predicted."""

from analysis.methods.entry import Method, Source

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
_KISH = Source(
    "kish1965",
    "Kish 1965, Survey Sampling, Wiley (the effective size of a weighted sample)",
    "@book{kish1965, author={Kish, Leslie}, title={Survey Sampling}, publisher={Wiley}, year={1965}}",
)
_NEWCOMBE_DIFFERENCE = Source(
    "newcombe1998b",
    "Newcombe 1998, Interval estimation for the difference between independent proportions, Stat. Med. 17:873-890",
    "@article{newcombe1998b, author={Newcombe, Robert G.}, title={Interval estimation for the difference between "
    "independent proportions: comparison of eleven methods}, journal={Statistics in Medicine}, volume={17}, "
    "number={8}, pages={873--890}, year={1998}}",
)
_EFRON = Source(
    "efron1967",
    "Efron 1967, The two sample problem with censored data, Proc. Fifth Berkeley Symp. Math. Stat. Prob. 4:831-853",
    "@inproceedings{efron1967, author={Efron, Bradley}, title={The two sample problem with censored data}, "
    "booktitle={Proceedings of the Fifth Berkeley Symposium on Mathematical Statistics and Probability}, volume={4}, "
    "pages={831--853}, year={1967}}",
)
_EFRON_TIBSHIRANI = Source(
    "efron1993",
    "Efron & Tibshirani 1993, An Introduction to the Bootstrap, Chapman & Hall, chapter 13",
    "@book{efron1993, author={Efron, Bradley and Tibshirani, Robert J.}, title={An Introduction to the Bootstrap}, "
    "publisher={Chapman \\& Hall}, year={1993}}",
)
_THOMPSON = Source(
    "thompson1936",
    "Thompson 1936, On confidence ranges for the median and other expectation distributions, "
    "Ann. Math. Stat. 7:122-128",
    "@article{thompson1936, author={Thompson, William R.}, title={On confidence ranges for the median and other "
    "expectation distributions for populations of unknown distribution form}, journal={The Annals of Mathematical "
    "Statistics}, volume={7}, number={3}, pages={122--128}, year={1936}}",
)

METHODS: dict[str, Method] = {
    "tuning.staged": Method(
        "Hierarchical hazard model and outcome chain",
        "Deaths a second alive follow a Poisson model with a level for each segment (stage or boss), a normal effect "
        "of each player, powers of the attempt and of the fire rate, and effects of the weapon's tier and of a first "
        "death in the segment; priors are "
        "stated with each proposal. The posterior is drawn by importance resampling from Laplace approximations over a "
        "grid of the players' spread, with the players' effects integrated by adaptive Gauss-Hermite quadrature. Clear "
        "times are log-normal, broken-off visits censored; tier rises, quitting and giving up are estimated beside it. "
        "Outcomes are computed by a Markov chain over segment, lives and tier, averaged over new players' skill. A "
        "proposal has the least posterior mean miss of the targets among the values that the firmware can hold; its "
        "chance of being better is the share of the posterior in which it misses by less than no change does. "
        "Effective draws are the independent draws that the weighted ones are worth; below 50 a warning is given.",
        (_TIERNEY, _PINHEIRO, _AITKIN, _KISH),
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
        "Players who played both builds are compared within themselves, with a t interval over players. The weight of "
        "a run that was cut before it was decided is handed on to the runs that lasted longer; values are then no "
        "longer 0 or 1, and the interval is Welch's. A median or another quantile is compared as that quantile of the "
        "players' values, with a percentile bootstrap over players; where even the whole span of the values would hold "
        "the quantile less often than 95 % (fewer than 6 players for a median, 11 for a quarter), there is no "
        "interval, and the mean is said beside it.",
        (_NEWCOMBE_DIFFERENCE, _EFRON, _EFRON_TIBSHIRANI, _THOMPSON),
    ),
}
