"""Real incomplete ratings: lme4's InstEval, 1,128 lecturers by 2,972 students, through the loader."""

import krippendorff
import numpy as np
import pytest

from mentorstats.agreement import coefficients

LEVELS = ["1", "2", "3", "4", "5"]
EXACT = 1e-10  # the same arithmetic in another order


@pytest.fixture(scope="module")
def long(insteval):
    return insteval.long()


def family(long, weights):
    return coefficients(long, unit="observation", rater="rater", level="level", weights=weights)


def test_every_rating_arrives(long, insteval):
    assert len(long) == 73_421
    assert long["observation"].nunique() == 1128
    assert long["rater"].nunique() == 2972
    assert list(long["level"].cat.categories) == LEVELS
    assert insteval.sources["rows_set_aside"].sum() == 0


@pytest.mark.parametrize(
    ("weights", "metric"), [("identity", "nominal"), ("ordinal", "ordinal"), ("quadratic", "interval")]
)
def test_alpha_on_the_incomplete_design(long, weights, metric):
    found = family(long, weights)
    grid = long.assign(score=long["rank"].astype(float)).pivot(
        index="rater", columns="observation", values="score"
    )
    theirs = krippendorff.alpha(
        reliability_data=grid.to_numpy(), level_of_measurement=metric, value_domain=[1, 2, 3, 4, 5]
    )
    assert found.value["krippendorff_alpha"] == pytest.approx(theirs, abs=EXACT)
    assert found.n_raters["krippendorff_alpha"] == 2972


def test_the_family_by_its_definitions(long):
    """Fleiss-type kappa and AC1 from the counts, written out as the source defines them [gwet_2014]."""
    counts = long.pivot_table(index="observation", columns="level", aggfunc="size", observed=False).to_numpy(
        float
    )
    r = counts.sum(axis=1)
    pair = r >= 2
    observed = ((counts * (counts - 1)).sum(axis=1)[pair] / (r * (r - 1))[pair]).mean()
    pi = (counts / r[:, None]).mean(axis=0)
    chance = {"fleiss_kappa": (pi**2).sum(), "gwet_ac": (pi * (1 - pi)).sum() / 4, "brennan_prediger": 0.2}
    found = family(long, "identity")
    for name, p_e in chance.items():
        assert found.value[name] == pytest.approx((observed - p_e) / (1 - p_e), abs=EXACT), name
    assert np.isfinite(found[["low", "high"]]).all(axis=None)
