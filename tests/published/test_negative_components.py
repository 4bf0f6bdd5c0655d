"""A constructed table whose mean squares give negative components, where likelihood says otherwise."""

import pytest

from mentorstats.estimate import Status
from mentorstats.reliability import d_study, g_study

PRINTED = 5.1e-5
LIKELIHOOD = 5.1e-4  # its optimum is printed as another program found it


def studied(block, from_array, method):
    scores = from_array(block("GTH-09")["data"]["persons_x_items"], ["person", "item"])
    return block("GTH-09")["expected"], g_study(
        scores, object="person", facets="item", score="score", method=method
    )


def test_mean_squares_keep_the_raw_value_and_report_zero(block, from_array):
    expected, study = studied(block, from_array, "auto")
    table = study.components
    assert list(table.ms) == pytest.approx(expected["MS"], abs=PRINTED)
    assert list(table.variance_raw) == pytest.approx(list(expected["var_anova_raw"].values()), abs=PRINTED)
    assert list(table.variance) == pytest.approx(list(expected["var_clamped"].values()), abs=PRINTED)
    assert list(table.status) == [Status.BOUNDARY, Status.BOUNDARY, Status.OK]
    assert "Taken at zero: person, item." in study.notes


def test_likelihood_gives_something_else(block, from_array):
    expected, study = studied(block, from_array, "reml")
    assert list(study.components.variance) == pytest.approx(
        list(expected["var_reml"].values()), abs=LIKELIHOOD
    )
    assert study.components.status["item"] == Status.BOUNDARY
    assert "restricted likelihood" in study.notes[0]


def test_no_difference_is_no_dependability_and_the_other_zero_has_a_pessimistic_row(block, from_array):
    expected, study = studied(block, from_array, "auto")
    plans = d_study(study, {"item": 3}).set_index("scenario")
    assert plans.generalizability["as_estimated"] == expected["Erho2_clamped"]
    assert set(plans.status) == {Status.BOUNDARY}
    raised = study.components.high["item"] / 3
    errors = plans.absolute_error
    assert errors["pessimistic"] - errors["as_estimated"] == pytest.approx(raised)
