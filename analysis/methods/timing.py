"""Timing of presses (rhythm games)."""

from analysis.methods.entry import Method, Source, article
from analysis.methods.sources import HOLM, LIANG, SKELLAM

_REPP = Source(
    "repp2005",
    "Repp 2005, Sensorimotor synchronization: a review of the tapping literature, Psychon. Bull. Rev. 12:969-992",
    "@article{repp2005, author={Repp, Bruno H.}, title={Sensorimotor synchronization: A review of the tapping "
    "literature}, journal={Psychonomic Bulletin \\& Review}, volume={12}, number={6}, pages={969--992}, year={2005}}",
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
_GEYER = article(
    "geyer1992", "Geyer, Charles J.", 1992, "Practical Markov chain Monte Carlo", "Statistical Science", "7(4):473-483"
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

METHODS: dict[str, Method] = {
    "timing.share_robust_logit": Method(
        "Share of notes hit, interval by player",
        _MATCHED
        + "Pooled share of hits with a cluster-robust interval on the logit scale and Student's t with players - 1 "
        "degrees of freedom, because the notes of one player are not independent.",
        (LIANG,),
    ),
    "timing.share_beta_binomial": Method(
        "Share of notes hit, beta-binomial profile interval",
        _MATCHED
        + "From 90 % on, the interval is the profile likelihood of a beta-binomial model with players as units: the "
        "robust interval is too short there.",
        (SKELLAM,),
    ),
    "timing.share_wilson_players": Method(
        "Share of notes hit when all or none were",
        _MATCHED + "The wider of the beta-binomial profile and Wilson's interval with n = players.",
    ),
    "timing.share_none": Method("Share of notes hit", _MATCHED + "One player gives no interval."),
    "timing.accuracy_curve": Method(
        "Hit share as a function of the window",
        _MATCHED
        + "Every press is judged again with each window; a note without a press is a miss in all of them; in a "
        "window that is moved, players count alike. Intervals by "
        "player: robust logit with t below 90 %, beta-binomial profile from there on.",
        (LIANG, SKELLAM),
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
        "each level; cluster-robust intervals by player with t(players - 1), of each level the players who saw it; "
        "p values corrected for the number of levels by Holm, those of passages for the number of songs as well. "
        "Errors are pulled in to three spreads of the player first.",
        (LIANG, HOLM),
    ),
    "timing.drift": Method(
        "Drift along the song",
        "The slope of each player's errors against the time in the song, each run about its own level; mean over "
        "players with Student's interval, in the sentence corrected for the number of songs (Bonferroni). One "
        "microsecond a second is one part per million.",
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
        (LIANG, SKELLAM),
    ),
    "timing.proposal": Method(
        "Window and offset from new players' predicted hit share",
        _MATCHED
        + "A hierarchical model: each player has a bias, a log spread and a logit of lapses, jointly normal over "
        "players; songs shift all three with shrinkage, attempts the spread; errors within a player follow a shape "
        "estimated from all of them. Presses the console did not log enter as such. Sampled by Markov chain Monte "
        "Carlo; predictions are for players not yet seen: in half of the draws from that normal distribution, in "
        "the other half like the players seen, with the weights of a Bayesian bootstrap. Effective draws are the "
        "independent draws that the chain is worth, for the quantity over players that mixes worst; below 50 a warning "
        "is given.",
        (_GELMAN, _WING, _RUBIN, _GEYER),
    ),
}
