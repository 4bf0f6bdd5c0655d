"""Criteria and cut-points of two sides: what is planted comes back, by the step and by a refit."""

import tomllib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from grouped import grouped

from mentorstats import places, policy
from mentorstats.calibration import base_fit, same_instrument
from mentorstats.calibration.groups.criterion_shifts import shifts_of
from mentorstats.calibration.groups.cut_points import refitted
from mentorstats.calibration.groups.sides import Sides
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.sources import SOURCES

WITHIN = 3.0  # standard errors
ONE_STEP = 0.25  # of a standard error, one step against a refit
RULES = policy.Policy(
    tuple(
        replace(rule, value=10) if rule.id == "minimum_group_size" else rule for rule in policy.read().rules
    )
)


@pytest.fixture(scope="module")
def drawn():
    return grouped(21, gap=1.0, criterion=-0.9, cut=0.6, mentors=0.0)


@pytest.fixture(scope="module")
def base(drawn):
    return base_fit(drawn[0])


@pytest.fixture(scope="module")
def of_lesson(base, drawn):
    return base.rows.drop_duplicates("observation").set_index("observation")["candidate"].map(drawn[1])


@pytest.fixture(scope="module")
def found(base, of_lesson):
    return same_instrument(base, RULES, by="mode", values=of_lesson, refit=False)


def test_planted_shifts_come_back(found) -> None:
    assert found.by == "mode"
    assert (found.tests["p"] < 0.05).all()
    criterion = found.criteria.set_index("criterion").loc["k1"]
    assert abs(criterion["contrast"] + 0.9 * 3 / 4) < WITHIN * criterion["contrast_se"]
    cuts = found.cuts.set_index("above")
    for above, planted in ((2, -0.2), (3, 0.4), (4, -0.2)):
        assert abs(cuts.loc[above, "contrast"] - planted) < WITHIN * cuts.loc[above, "contrast_se"]


def test_shifts_add_up_to_zero(found) -> None:
    assert found.criteria["contrast"].sum() == pytest.approx(0.0, abs=1e-9)
    assert found.cuts["contrast"].sum() == pytest.approx(0.0, abs=1e-9)


def test_the_step_reaches_what_a_refit_with_free_cut_points_finds(base, drawn) -> None:
    group = (base.rows["candidate"].map(drawn[1]) == "b").to_numpy()
    sides = Sides("b", "a", group, ~group)
    step = shifts_of(base, sides, lambda n: n >= 10)
    free = refitted(base, sides, step)
    for ours, theirs in ((step.criteria, free.criteria), (step.cuts, free.cuts)):
        assert (np.abs(ours["estimate"] - theirs["estimate"]) < 2 * ONE_STEP * theirs["se"]).all()
        assert ours["se"].to_numpy() == pytest.approx(theirs["se"].to_numpy(), rel=ONE_STEP)


def test_what_passes_the_screen_is_fitted_again(base, of_lesson) -> None:
    told = same_instrument(base, RULES, by="mode", values=of_lesson)
    assert (told.tests["method"] == "refit").all()


def test_nothing_is_found_where_nothing_is(base) -> None:
    told = same_instrument(base, RULES, by="cohort")
    assert (told.tests["p"] > 0.01).all()
    assert (told.tests["method"] == "one_step").all()


def test_roles_with_too_few_raters_are_not_compared(base) -> None:
    told = same_instrument(base, RULES, by="rater_role")
    assert told.groups.set_index("group")["status"].to_dict() == {
        "mentor": "ok",
        "supervisor": "too_few_to_show",  # nine raters
    }
    assert told.status == "too_few_to_show"
    assert told.tests.empty


def test_one_value_is_nothing_to_compare(base) -> None:
    told = same_instrument(base, RULES, by="rubric_version")
    assert told.status == "not_identified"


def test_versions_are_compared_on_the_criteria_of_both() -> None:
    long, _ = grouped(5, mentors=None)
    later = long["cohort"] == "second"
    harder = later & (long["criterion"] == "k2")
    rank = np.maximum(long["rank"].to_numpy(dtype=int) - harder.to_numpy(), 1)
    criterion = long["criterion"].where(~(later & (long["criterion"] == "k3")), "new")
    versions = long.assign(
        rubric_version=np.where(later, "2", "1"), rank=pd.array(rank, dtype="Int8"), criterion=criterion
    )
    base = base_fit(versions)
    told = same_instrument(base, RULES, by="rubric_version")
    assert told.criteria["criterion"].tolist() == ["k0", "k1", "k2"]
    assert (told.tests.set_index("test").loc[["criteria", "both"], "p"] < 0.001).all()
    assert told.criteria.set_index("criterion")["contrast"].idxmin() == "k2"
    assert (told.tests["method"] == "wald").all()
    cuts = base.fit.thresholds.groupby("group")["estimate"].agg(list)
    apart = {
        k: np.mean(cuts[f"{k} · invented 2"]) - np.mean(cuts[f"{k} · invented 1"])
        for k in ("k0", "k1")
        if len(cuts[f"{k} · invented 2"]) == len(cuts[f"{k} · invented 1"])
    }
    ours = told.criteria.set_index("criterion")
    simple = apart["k1"] - apart["k0"]  # means of cut-points, where ours are weighted
    assert abs(ours["contrast"]["k0"] - ours["contrast"]["k1"] - simple) < ours["contrast_se"].max()


def test_strengths_of_candidates_on_criteria_widen_errors() -> None:
    long, groups = grouped(8, profile=1.2, mentors=None)
    base = base_fit(long)
    group = (base.rows["candidate"].map(groups) == "b").to_numpy()
    scatter = shifts_of(base, Sides("b", "a", group, ~group), lambda n: n >= 10).tests["criteria"].scatter
    assert scatter > 1.3


def test_bad_input_is_refused(base, of_lesson) -> None:
    with pytest.raises(ColumnError, match="mode"):
        same_instrument(base, RULES, by="mode")
    with pytest.raises(ArgumentError, match="twice"):
        same_instrument(base, RULES, by="mode", values=pd.concat([of_lesson, of_lesson]))


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


def test_columns_statuses_and_references_are_of_the_closed_lists(found) -> None:
    for table in (found.groups, found.tests, found.criteria, found.cuts):
        assert set(table.columns) <= known("result_columns.toml")
        assert set(table["status"]) <= known("statuses.toml")
        assert set(table.get("reference", [])) <= set(SOURCES)
