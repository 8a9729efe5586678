"""Publications that several areas rest on."""

from analysis.methods.entry import Source, article

LIANG = Source(
    "liang1986",
    "Liang & Zeger 1986, Longitudinal data analysis using generalized linear models, Biometrika 73:13-22",
    "@article{liang1986, author={Liang, Kung-Yee and Zeger, Scott L.}, title={Longitudinal data analysis using "
    "generalized linear models}, journal={Biometrika}, volume={73}, number={1}, pages={13--22}, year={1986}}",
)
HOLM = Source(
    "holm1979",
    "Holm 1979, A simple sequentially rejective multiple test procedure, Scand. J. Stat. 6:65-70",
    "@article{holm1979, author={Holm, Sture}, title={A simple sequentially rejective multiple test procedure}, "
    "journal={Scandinavian Journal of Statistics}, volume={6}, number={2}, pages={65--70}, year={1979}}",
)
SKELLAM = Source(
    "skellam1948",
    "Skellam 1948, A probability distribution derived from the binomial, J. R. Stat. Soc. B 10:257-261",
    "@article{skellam1948, author={Skellam, J. G.}, title={A probability distribution derived from the binomial "
    "distribution by regarding the probability of success as variable between the sets of trials}, journal={Journal "
    "of the Royal Statistical Society B}, volume={10}, number={2}, pages={257--261}, year={1948}}",
)
KAPLAN = article(
    "kaplan1958",
    "Kaplan, E. L. and Meier, Paul",
    1958,
    "Nonparametric estimation from incomplete observations",
    "Journal of the American Statistical Association",
    "53(282):457-481",
)
WILLIAMS = article(
    "williams1995",
    "Williams, Rick L.",
    1995,
    "Product-limit survival functions with correlated survival times",
    "Lifetime Data Analysis",
    "1:171-186",
)
WILSON = article(
    "wilson1927",
    "Wilson, Edwin B.",
    1927,
    "Probable inference, the law of succession, and statistical inference",
    "Journal of the American Statistical Association",
    "22(158):209-212",
)
PHIPSON = article(
    "phipson2010",
    "Phipson, Belinda and Smyth, Gordon K.",
    2010,
    "Permutation p-values should never be zero: calculating exact p-values when permutations are randomly drawn",
    "Statistical Applications in Genetics and Molecular Biology",
    "9:39",
)
HAUSMAN = article(
    "hausman1984",
    "Hausman, Jerry and Hall, Bronwyn H. and Griliches, Zvi",
    1984,
    "Econometric models for count data with an application to the patents-R&D relationship",
    "Econometrica",
    "52:909-938",
)
