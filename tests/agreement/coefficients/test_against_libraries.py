"""The family against general-purpose libraries, on random incomplete data."""

import krippendorff
import numpy as np
import pandas as pd
import pingouin
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats import inter_rater

from mentorstats.agreement import coefficients, from_codes

EXACT = 1e-10  # the same arithmetic in another order
LEVELS = [1, 2, 3, 4]


def grid(seed, n=300, raters=2, missing=0.0):
    """Level codes of ``raters`` who copy a hidden level with probability .6, some ratings missing."""
    rng = np.random.default_rng(seed)
    truth = rng.choice(4, size=n, p=[0.1, 0.2, 0.5, 0.2])
    codes = np.where(rng.random((n, raters)) < 0.6, truth[:, None], rng.integers(0, 4, (n, raters)))
    return np.where(rng.random((n, raters)) < missing, -1, codes)


def long_of(codes):
    unit, rater = np.nonzero(codes >= 0)
    return pd.DataFrame({"unit": unit, "rater": rater, "level": codes[unit, rater] + 1})


def family(codes, weights="identity", **more):
    return coefficients(
        long_of(codes), unit="unit", rater="rater", level="level", levels=LEVELS, weights=weights, **more
    )


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("weights", "theirs"), [("identity", None), ("linear", "linear"), ("quadratic", "fc")]
)
def test_cohen_kappa_and_its_error_against_statsmodels(seed, weights, theirs):
    codes = grid(seed)
    table = np.bincount(codes[:, 0] * 4 + codes[:, 1], minlength=16).reshape(4, 4)
    reference = inter_rater.cohens_kappa(table, wt=theirs, return_results=True)
    found = family(codes, weights).loc["cohen_kappa"]
    assert found.value == pytest.approx(reference.kappa, abs=EXACT)
    assert found.se == pytest.approx(reference.std_kappa, abs=EXACT)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("weights", ["identity", "linear", "quadratic"])
def test_cohen_kappa_against_scikit_learn(seed, weights):
    codes = grid(seed)
    theirs = cohen_kappa_score(*codes.T, labels=range(4), weights=None if weights == "identity" else weights)
    assert family(codes, weights).value["cohen_kappa"] == pytest.approx(theirs, abs=EXACT)


@pytest.mark.parametrize("raters", [3, 5])
def test_fleiss_kappa_against_statsmodels(raters):
    codes = grid(7, raters=raters)
    counts = np.stack([(codes == level).sum(axis=1) for level in range(4)], axis=1)
    theirs = inter_rater.fleiss_kappa(counts, method="fleiss")
    assert family(codes).value["fleiss_kappa"] == pytest.approx(theirs, abs=EXACT)
    uniform = inter_rater.fleiss_kappa(counts, method="uniform")
    assert family(codes).value["brennan_prediger"] == pytest.approx(uniform, abs=EXACT)


def test_fourteen_raters(request):
    """Ten subjects by fourteen raters: the example of the statsmodels test suite, .210."""
    counts = [[0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1]]
    counts += [[7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7]]
    codes = np.array([np.repeat(range(5), row) for row in counts])
    found = from_codes(codes, levels=range(5))
    assert found.value["fleiss_kappa"] == pytest.approx(0.210, abs=5e-4)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("missing", [0.0, 0.3, 0.7])
@pytest.mark.parametrize(
    ("weights", "metric"),
    [("identity", "nominal"), ("ordinal", "ordinal"), ("quadratic", "interval"), ("ratio", "ratio")],
)
def test_alpha_against_krippendorff(seed, missing, weights, metric):
    codes = grid(seed, raters=5, missing=missing)
    data = np.where(codes < 0, np.nan, codes + 1.0).T
    theirs = krippendorff.alpha(reliability_data=data, level_of_measurement=metric, value_domain=LEVELS)
    assert family(codes, weights).value["krippendorff_alpha"] == pytest.approx(theirs, abs=EXACT)


def test_quadratic_kappa_nears_the_intraclass_correlation():
    """Quadratic kappa tends to ICC(A,1) as units grow (Fleiss & Cohen 1973, from memory)."""
    codes = grid(11, n=4000)
    icc = pingouin.intraclass_corr(data=long_of(codes), targets="unit", raters="rater", ratings="level")
    absolute = float(icc.set_index("Type")["ICC"].filter(like="A,1").iloc[0])
    assert family(codes, "quadratic").value["cohen_kappa"] == pytest.approx(absolute, abs=2e-4)


def test_quadratic_kappa_is_the_concordance_coefficient():
    x, y = (grid(12) + 1.0).T
    lin = 2 * np.cov(x, y, bias=True)[0, 1] / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)
    assert family(grid(12), "quadratic").value["cohen_kappa"] == pytest.approx(lin, abs=EXACT)


def test_alpha_from_fleiss_on_complete_data():
    """Alpha = 1 - (1 - Fleiss)(1 - 1/N) with N ratings, when all units have as many."""
    codes = grid(3, raters=4)
    value = family(codes).value
    expected = 1 - (1 - value["fleiss_kappa"]) * (1 - 1 / codes.size)
    assert value["krippendorff_alpha"] == pytest.approx(expected, abs=EXACT)
