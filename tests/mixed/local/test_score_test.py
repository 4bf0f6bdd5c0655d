"""Steps along cut-points and dispersions, against the step along the predictor and against refits."""

import numpy as np
import pytest
from grouped import grouped
from scipy import sparse

from mentorstats.calibration import base_fit
from mentorstats.calibration.base.base import fit_again
from mentorstats.errors import ArgumentError
from mentorstats.mixed.local.score_test import beside, cut_points, dispersions, given, parts, shifts, step

ONE_STEP = 0.1  # of a standard error: a Newton step from the fit against the optimum with the columns


@pytest.fixture(scope="module")
def base():
    return base_fit(grouped(4, mentors=None)[0])


@pytest.fixture(scope="module")
def group(base):
    return (base.rows["candidate"].str[1:].astype(int) % 3 == 0).to_numpy(float)


def test_cut_points_of_a_group_reach_what_a_refit_with_all_of_them_free_finds(base, group) -> None:
    found = fit_again(
        base,
        {"cell": np.where(group > 0, "in ", "out ") + base.rows["criterion"]},
        thresholds_by="cell",
    )
    loose, free = found.thresholds, []
    for criterion in ("k0", "k1", "k2", "k3"):
        apart = [
            loose[loose["group"] == f"{side} {criterion}"]["estimate"].to_numpy() for side in ("in", "out")
        ]
        free.append(apart[0] - apart[1])
    columns = np.column_stack([(base.rows["criterion"] == f"k{k}") * group for k in range(4)])
    moves, above = cut_points(base.at, columns)
    assert above == [2, 3, 4]
    estimates, covariance = step(base.at, moves).together()
    errors = np.sqrt(np.diagonal(covariance))
    assert (np.abs(estimates - np.concatenate(free)) < 2 * ONE_STEP * errors).all()


def test_the_dispersion_of_a_group_reaches_what_a_refit_finds(base, group) -> None:
    there = fit_again(
        base,
        {"group": np.where(group > 0, "yes", "no")},
        more=("group",),
        scale=("group",),
    ).coefficients.loc["log dispersion, group: yes"]
    both = step(base.at, beside([dispersions(base.at, group[:, None]), shifts(group[:, None])]))
    estimate, error = given(both, np.array([True, False])).alone()
    assert estimate[0] == pytest.approx(there["estimate"], abs=2 * ONE_STEP * there["se"])
    assert error[0] == pytest.approx(there["se"], rel=ONE_STEP)


def test_a_rise_of_all_cut_points_is_a_shift_down(base, group) -> None:
    moves, _ = cut_points(base.at, group[:, None])
    both = step(base.at, beside([moves, shifts(group[:, None])]))
    whole = np.array([1.0, 1, 1, 1])
    assert whole @ both.information @ whole == pytest.approx(0.0, abs=1e-6 * both.information[3, 3])
    assert whole @ both.score == pytest.approx(0.0, abs=1e-6)


def test_columns_set_aside_take_their_part(base, group) -> None:
    other = (base.rows["criterion"] == "k2").to_numpy(float) * group
    both = step(base.at, shifts(np.column_stack([group, other])))
    estimates, covariance = both.together()
    alone, error = given(both, np.array([False, True])).alone()
    assert alone[0] == pytest.approx(estimates[1])
    assert error[0] ** 2 == pytest.approx(covariance[1, 1])


def test_columns_of_another_table_are_refused(base) -> None:
    with pytest.raises(ArgumentError, match="rows of columns"):
        step(base.at, shifts(sparse.csr_array((3, 1))))


def test_parts_of_clusters_add_up_to_the_score(base, group) -> None:
    """Up to the second part of Laplace's approximation, which no cluster has alone."""
    moves, _ = cut_points(base.at, (base.rows["criterion"] == "k2").to_numpy(float)[:, None] * group[:, None])
    cluster = np.unique(base.rows["candidate"], return_inverse=True)[1]
    found, own = parts(base.at, moves, cluster)
    errors = np.sqrt(np.diagonal(found.information))
    print(own.sum(axis=0) / errors, found.score / errors, (own**2).sum(axis=0) / errors**2)
    assert own.sum(axis=0) == pytest.approx(found.score, abs=0.1 * errors.min())
    assert (own**2).sum(axis=0) == pytest.approx(errors**2, rel=0.5)


def test_the_shortcut_of_shifts_is_the_step_of_all_moves(base) -> None:
    columns = base.by_rater()
    short, whole = step(base.at, shifts(columns)), step(base.at, beside([shifts(columns)]))
    assert short.score == pytest.approx(whole.score, rel=1e-9, abs=1e-12)
    assert short.information == pytest.approx(whole.information, rel=1e-9, abs=1e-12)
