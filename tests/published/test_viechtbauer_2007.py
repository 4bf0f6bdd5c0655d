"""The Q-profile interval for the thirteen vaccine trials that papers on heterogeneity share.

Data and printed answers from memory: Paule and Mandel's estimate of τ² .3181, 95 % interval .1197 to 1.1115,
Q = 152.23 on 12 degrees of freedom.
"""

import numpy as np
import pytest

from mentorstats.calibration.raters.rater_variance import between, members_about_mean, members_of_estimates

TRIALS = np.array(
    [
        (4, 123, 11, 139), (6, 306, 29, 303), (3, 231, 11, 220), (62, 13598, 248, 12867),
        (33, 5069, 47, 5808), (180, 1541, 372, 1451), (8, 2545, 10, 629),
        (505, 88391, 499, 88391), (29, 7499, 45, 7277),
        (17, 1716, 65, 1665), (186, 50634, 141, 27338), (5, 2498, 3, 2341), (27, 16913, 29, 17854),
    ],
    dtype=float,
)  # fmt: skip  # cases and people with the vaccine, cases and people without
PRINTED = 6e-5  # four decimals


def test_heterogeneity_of_the_vaccine_trials() -> None:
    cases, people, other_cases, others = TRIALS.T
    effect = np.log(cases / people / (other_cases / others))
    variance = 1 / cases - 1 / people + 1 / other_cases - 1 / others
    found = between(members_about_mean(effect / variance, np.diag(1 / variance)), 0.95)
    assert found.variance == pytest.approx(0.3181, abs=PRINTED)
    assert (found.low, found.high) == pytest.approx((0.1197, 1.1115), abs=PRINTED)
    assert found.statistic == pytest.approx(152.23, abs=0.006)
    assert found.df == 12
    basis = np.linalg.svd(np.eye(13) - 1 / 13)[0][:, :12].T  # orthonormal, so that τ²I stays τ²I
    again = between(
        members_of_estimates(basis @ effect, basis @ np.diag(variance) @ basis.T, smallest=0.0), 0.95
    )
    assert again.sd == pytest.approx(found.sd, rel=1e-9)
