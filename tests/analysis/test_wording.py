"""Numbers as the sentences say them: rounding must not make them false."""

import pytest

from analysis.findings.wording import between, percent
from analysis.stats.estimate import Estimate


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0 %"), (1e-17, "0 %"), (0.0004, "under 0.1 %"), (0.0006, "0.1 %"), (0.004, "0.4 %"), (0.12, "12 %"),
        (0.996, "99.6 %"), (0.9996, "over 99.9 %"), (1.0, "100 %"), (1 - 1e-12, "100 %"),
    ],
)  # fmt: skip
def test_some_is_never_called_none_nor_most_all(share, said):
    assert percent(share) == said


def test_an_interval_that_reaches_nearly_to_nothing_says_so():
    assert between(Estimate(0.01, 0.0002, 0.04, unit="share")) == "(95 % interval under 0.1 to 4 %)"
