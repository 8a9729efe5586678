"""Published values on shares, dose-response and places."""

# Newcombe 1998, Stat. Med. 17:857-872 (from memory): 81 of 263.
NEWCOMBE_WILSON, NEWCOMBE_EXACT = (0.2553, 0.3662), (0.2527, 0.3676)

# Menarche in Warsaw girls (Milicer & Szczotka 1966, Human Biology 38:199-203): logistic intercept, slope, median age;
# Venables & Ripley 2002, Modern Applied Statistics with S, 4th ed., section 7.2 fits the same model.
MENARCHE = (-21.2264, 1.63197, 13.007)
# Toxicity of rotenone, Finney 1971, Probit Analysis, 3rd ed.: median lethal dose of the logistic model on the log dose.
FINNEY_LOGIT_LD50 = 4.8289

# Snow's cholera deaths of 1854 as digitised by Dodson & Tobler: 578 deaths, the busiest unit cell holds 46 of them and
# the Broad Street pump.
SNOW_DEATHS, SNOW_BUSIEST = 578, 46
