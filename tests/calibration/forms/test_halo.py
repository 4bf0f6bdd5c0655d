"""Halo: both forms by hand, the latent correlation against truth, the planted rater."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, t
from spread_simulation import programme

from mentorstats.calibration import base_fit, halo, redraws
from mentorstats.calibration.base.simulated import cutpoint_rows, score
from mentorstats.calibration.forms.form_correlation import _GRID, _expected_products
from mentorstats.calibration.forms.form_table import forms, mean_correlation, mean_spread
from mentorstats.estimate import Status

WITHIN = 3.0  # standard errors in which a planted value has to be found
QUADRATURE = 1e-6  # four points an interval against SciPy's bivariate normal


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(3, halo_of={2: 0.8}))


@pytest.fixture(scope="module")
def found(base):
    return halo(base, redraws(base, draws=100, seed=3))


def test_both_forms_by_hand(base) -> None:
    laid = forms(base)
    rows = base.rows
    groups = rows.groupby("criterion")["rank"]
    rows = rows.assign(x=(rows["rank"] - groups.transform("mean")) / groups.transform("std", ddof=0))
    z, low, high = mean_correlation(laid, base.ranks, len(base.raters), 0.95)
    sd, sd_low, sd_high = mean_spread(laid, base.ranks, len(base.raters), 0.95)
    for j, rater in enumerate(base.raters["rater"]):
        wide = rows[rows["rater"] == rater].pivot(index="observation", columns="criterion", values="x")
        own = np.arctanh(np.corrcoef(wide.T)[np.triu_indices(wide.shape[1], 1)])
        assert z[j] == pytest.approx(own.mean())
        left = [
            np.arctanh(np.corrcoef(wide.drop(index=i).T)[np.triu_indices(wide.shape[1], 1)]).mean()
            for i in wide.index
        ]
        m = len(wide)
        jackknife = np.sqrt((m - 1) / m * ((left - np.mean(left)) ** 2).sum())
        assert high[j] - low[j] == pytest.approx(2 * t.ppf(0.975, m - 1) * jackknife)
        spreads = wide.std(axis=1, ddof=1)
        assert sd[j] == pytest.approx(spreads.mean())
        half = t.ppf(0.975, m - 1) * spreads.std(ddof=1) / np.sqrt(m)
        assert [sd_low[j], sd_high[j]] == pytest.approx([sd[j] - half, sd[j] + half])


def test_forms_of_different_size_count_by_their_pairs_of_criteria() -> None:
    rows = programme(3, halo_of={2: 0.8})
    first = sorted(rows["criterion"].unique())[:2]
    short = rows["observation"].isin(sorted(rows["observation"].unique())[::2])
    uneven = base_fit(rows[~short | rows["criterion"].isin(first)])
    drawn = redraws(uneven, draws=50, seed=3)
    edges = cutpoint_rows(uneven)
    keys = [uneven.rows["rater"], uneven.rows["observation"]]

    def correlations(ranks, predictor):
        """Products of a form's different scores over what they are where all scores are alike."""
        s = pd.Series(score(uneven, predictor[:, None], ranks[:, None].astype(int) - 1, edges)[:, 0])
        by_form = s.groupby(keys)
        size, total = by_form.size(), by_form.sum()
        squares = (s**2).groupby(keys).sum()
        over = [part.groupby(level=0).sum() for part in (total**2, squares, size * (size - 1), size)]
        return over[0] / over[1], over[2] / over[3]

    given, others = correlations(uneven.ranks, uneven.predictor)
    again = [
        correlations(ranks, predictor)[0]
        for part in drawn.parts()
        for ranks, predictor in zip(part[0].T, part[1].T, strict=True)
    ]
    expected = np.cbrt(pd.concat(again, axis=1)).mean(axis=1) ** 3
    contrast = halo(uneven, drawn).set_index("rater")["contrast"]
    assert contrast.loc[given.index].to_numpy() == pytest.approx(((given - expected) / others).to_numpy())


def test_expected_products_are_those_of_a_bivariate_normal() -> None:
    from scipy import sparse

    first, second = np.array([[-1.0, 0.4]]), np.array([[-0.3, 1.2]])
    ours = _expected_products(first, second, sparse.csr_array(np.eye(1)))[0]
    for r, value in zip(_GRID, ours, strict=True):
        if abs(r) < 0.9:
            both = [
                multivariate_normal.cdf([a, b], cov=[[1, r], [r, 1]])
                - multivariate_normal.cdf([a, 9], cov=np.eye(2))
                * multivariate_normal.cdf([9, b], cov=np.eye(2))
                for a in first[0]
                for b in second[0]
            ]
            assert value == pytest.approx(sum(both), abs=QUADRATURE)


def test_a_planted_correlation_is_found_and_others_are_not(found) -> None:
    own = found.set_index("rater").loc["r02"]
    assert own["p"] < 1e-3
    assert own["contrast_low"] > 0
    assert own["residual_correlation_low"] < 0.8 < own["residual_correlation_high"]
    assert own["criterion_sd"] < own["criterion_sd_expected_low"]
    others = found[found["rater"] != "r02"]
    assert (others["p"] < 0.01).sum() <= 1
    assert others["residual_correlation"].mean() == pytest.approx(0.0, abs=0.08)


def test_the_rater_planted_in_the_invented_programme(invented, invented_base, invented_draws) -> None:
    planted = invented.truth.planted.set_index("effect").loc["halo"]
    table = halo(invented_base, invented_draws)
    own = table.set_index("rater").loc[planted["rater"]]
    se = (own["residual_correlation"] - own["residual_correlation_low"]) / t.ppf(0.975, own["n_forms"] - 1)
    assert abs(own["residual_correlation"] - planted["size"]) < WITHIN * se
    assert own["p"] < 1e-3
    assert own["criterion_sd"] < own["criterion_sd_expected_low"]
    assert own["correlation"] > own["correlation_expected_high"]
    central = table.set_index("rater").loc[
        invented.truth.planted.set_index("effect").loc["central_tendency", "rater"]
    ]
    assert central["p"] > 0.05


def test_leniency_stands_beside(base, found) -> None:
    effects = base.fit.effects("rater")["effect"]
    assert found.set_index("rater")["leniency_level"].rank().tolist() == effects.rank().tolist()


def test_one_criterion_has_no_halo() -> None:
    base = base_fit(programme(1, criteria=1))
    table = halo(base, redraws(base, draws=50))
    assert set(table["status"]) == {Status.NOT_IDENTIFIED.value}
    assert table[["contrast", "correlation", "criterion_sd", "residual_correlation"]].isna().all(axis=None)


def test_a_level_used_alone_leaves_no_correlation() -> None:
    table = programme(2)
    table.loc[table["rater"] == "r04", "rank"] = 2
    base = base_fit(table)
    own = halo(base, redraws(base, draws=50)).set_index("rater").loc["r04"]
    assert np.isnan(own["correlation"])
    assert own["criterion_sd"] >= 0


def test_a_fit_without_value_is_a_table_with_its_status() -> None:
    table = programme(1)
    table["rank"] = 2
    base = base_fit(table)
    assert set(halo(base)["status"]) == {base.status.value}
