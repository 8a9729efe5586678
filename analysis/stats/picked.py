"""What is to be expected of one group that may have been picked for how it came out."""

from collections.abc import Sequence

import numpy as np


def expected_of_picked(values: Sequence[np.ndarray], which: int) -> float:
    """The mean to be expected of the group `which` when it is measured again.

    values: of each group, one number a player; two groups at least. The lowest of several groups lies low by chance
    too, and comes out higher the next time by itself (Galton 1886, J. Anthropol. Inst. 15:246-263). Its mean is drawn
    towards that of all groups as far as groups differ by chance: empirical Bayes (Efron & Morris 1975, J. Am. Stat.
    Assoc. 70:311-319), the variance between groups by moments (DerSimonian & Laird 1986, Control. Clin. Trials
    7:177-188), that within groups pooled over them.
    """
    size = np.array([len(own) for own in values], dtype=float)
    mean = np.array([np.mean(own) for own in values])
    freedom = float((size - 1).sum())
    within = sum(float(((own - np.mean(own)) ** 2).sum()) for own in values) / freedom if freedom else 0.0
    if within == 0.0:
        return float(mean[which])
    weight = size / within
    spread = float((weight * (mean - np.average(mean, weights=weight)) ** 2).sum()) - (len(mean) - 1)
    between = max(0.0, spread / float(weight.sum() - (weight**2).sum() / weight.sum()))
    middle = float(np.average(mean, weights=1 / (between + 1 / weight)))
    return middle + between / (between + 1 / float(weight[which])) * (float(mean[which]) - middle)
