"""Groups of candidates: planted effects come back, true differences move nothing, small groups stay out."""

import tomllib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from grouped import grouped
from scipy import sparse
from statsmodels.stats.multitest import multipletests

from mentorstats import places, policy
from mentorstats.calibration import base_fit, candidate_groups, fairness
from mentorstats.calibration.base.base import fit_again
from mentorstats.calibration.groups.fairness import within_candidates
from mentorstats.calibration.groups.sides import Sides
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.mixed.local.score_test import given, shifts, step
from mentorstats.sources import SOURCES

WITHIN = 3.0  # standard errors
ONE_STEP = 0.25  # of a standard error: one step against a refit, or means set aside against every candidate
RULES = policy.Policy(
    tuple(
        replace(rule, value=10) if rule.id == "minimum_group_size" else rule for rule in policy.read().rules
    )
)
TABLES = ("groups", "raters", "between", "spreads", "roles", "criteria")


@pytest.fixture(scope="module")
def drawn():
    return grouped(7, gap=1.0, biased=-1.5, criterion=-0.8, mentors=0.8)


@pytest.fixture(scope="module")
def base(drawn):
    return base_fit(drawn[0])


@pytest.fixture(scope="module")
def found(base, drawn):
    return fairness(base, drawn[1], RULES)


def test_planted_effects_come_back(found) -> None:
    rater = found.raters.set_index(["rater_role", "rater"]).loc[("supervisor", "r00")]
    assert abs(rater["contrast"] + 1.5) < WITHIN * rater["contrast_se"]
    assert rater["p_adjusted"] < 0.05
    criterion = found.criteria.set_index("criterion").loc["k1"]
    assert abs(criterion["contrast"] + 0.8 * 3 / 4) < WITHIN * criterion["contrast_se"]
    assert criterion["p_adjusted"] < 0.05
    role = found.roles.iloc[0]
    assert (role["rater_role"], role["other_role"]) == ("mentor", "supervisor")
    planted = 0.8 + 1.5 / 9  # and one supervisor in nine gives group b less
    assert abs(role["contrast"] - planted) < WITHIN * role["contrast_se"]


def test_a_step_along_a_rater_reaches_what_a_refit_finds(base, drawn, found) -> None:
    group = (base.rows["candidate"].map(drawn[1]) == "b").to_numpy(float)
    own = (base.rows["rater"] == "r01").to_numpy()
    of_rater = np.where(own, group - group[own].mean(), 0.0)
    by_role = {f"group_{r}": group * (base.rows["rater_role"] == r) for r in ("mentor", "supervisor")}
    columns = {"of_rater": of_rater} | by_role
    refit = fit_again(base, columns, more=list(columns)).coefficients.loc["of_rater"]
    rater = found.raters.set_index("rater").loc["r01"]
    assert rater["contrast"] == pytest.approx(refit["estimate"], abs=ONE_STEP * refit["se"])
    assert rater["contrast_se"] == pytest.approx(refit["se"], rel=ONE_STEP)


def test_roles_are_compared_within_candidates(base, drawn) -> None:
    """Setting aside the share of one role is setting aside every candidate."""
    group = (base.rows["candidate"].map(drawn[1]) == "b").to_numpy()
    sides = Sides("b", "a", group, ~group)
    estimate, error = within_candidates(base, sides, "mentor", "supervisor")
    codes, names = pd.factorize(base.rows["candidate"])
    own = sparse.csr_array(
        (np.ones(len(codes)), (np.arange(len(codes)), codes)), shape=(len(codes), len(names))
    )
    column = sparse.csr_array(
        (group & (base.rows["rater_role"] == "mentor").to_numpy()).astype(float)[:, None]
    )
    every = step(base.at, shifts(sparse.csr_array(sparse.hstack([column, own]))))
    theirs, their_error = given(every, np.arange(1 + len(names)) == 0).alone()
    assert estimate[0] == pytest.approx(theirs[0], abs=ONE_STEP * their_error[0])
    assert error[0] == pytest.approx(their_error[0], rel=ONE_STEP)


def test_raters_are_one_family_in_a_role(found) -> None:
    own = found.raters[(found.raters["rater_role"] == "supervisor") & found.raters["p"].notna()]
    theirs = multipletests(own["p"], method="fdr_bh")[1]
    assert own["p_adjusted"].to_numpy() == pytest.approx(theirs)


def test_raters_who_saw_too_few_are_not_compared(found) -> None:
    mentors = found.raters[found.raters["rater_role"] == "mentor"]
    assert (mentors["status"] == "too_few_to_show").all()
    numbers = mentors[["contrast", "contrast_se", "p", "contrast_level", "power_see"]]
    assert numbers.isna().to_numpy().all()


def test_scatter_of_one_rater_for_one_group_comes_back() -> None:
    long, groups = grouped(12, scatter=2.0, mentors=None)
    spreads = fairness(base_fit(long), groups, RULES).spreads.set_index("rater")
    rater = spreads.loc["r00"]
    assert abs(rater["contrast"] - np.log(2.0)) < WITHIN * rater["contrast_se"]
    assert rater["ratio"] == pytest.approx(np.exp(rater["contrast"]))
    assert rater["p_adjusted"] < 0.05


def test_a_group_that_is_too_small_is_on_neither_side(base, drawn) -> None:
    groups = drawn[1].copy()
    few = groups.index[groups == "a"][:6]
    unknown = fairness(base, groups.drop(few), RULES)
    groups[few] = "rare"
    rare = fairness(base, groups, RULES)
    assert rare.groups.set_index("group").loc["rare", "status"] == "too_few_to_show"
    for name in TABLES[1:]:
        pd.testing.assert_frame_equal(getattr(rare, name), getattr(unknown, name))


def test_without_two_groups_there_is_nothing(base, drawn) -> None:
    groups = drawn[1].where(drawn[1] == "a")
    told = fairness(base, groups, RULES)
    assert told.status == "too_few_to_show"
    assert told.raters.empty


def test_candidates_whom_nobody_else_rated_say_nothing_of_their_rater() -> None:
    long, groups = grouped(3, mentors=None)
    alone = long[long["rater"] != "r01"]
    mine = {f"c{c}" for c in range(72) if c % 9 == 1}  # eight
    own = long[(long["rater"] == "r01") & long["candidate"].isin(mine)]
    rest = alone[~alone["candidate"].isin(mine)]
    groups = groups.copy()
    groups[sorted(mine)] = ["a", "b"] * 4
    more = own.assign(
        candidate=own["candidate"] + "x", observation=own["observation"] + "x"
    )  # twice as many, so that there are enough of both
    both = pd.concat([groups, groups[sorted(mine)].rename(index=lambda c: f"{c}x")])
    told = fairness(base_fit(pd.concat([rest, own, more], ignore_index=True)), both, RULES)
    rater = told.raters.set_index("rater").loc["r01"]
    assert rater["status"] == "unlinked"
    assert np.isnan(rater["contrast"])


def test_three_groups_are_each_compared_with_the_rest_or_with_one(base, drawn) -> None:
    groups = drawn[1].copy()
    groups[groups.index[groups == "a"][::2]] = "c"
    rest = fairness(base, groups, RULES)
    assert rest.roles[["group", "against"]].to_numpy().tolist() == [[g, "all others"] for g in "abc"]
    one = fairness(base, groups, RULES, reference="c")
    assert one.roles[["group", "against"]].to_numpy().tolist() == [["a", "c"], ["b", "c"]]


def test_a_fit_without_value_says_so(drawn) -> None:
    flat = base_fit(drawn[0].assign(rank=pd.array([2] * len(drawn[0]), dtype="Int8")))
    told = fairness(flat, drawn[1], RULES)
    assert told.status == flat.status
    assert told.raters.empty


def test_bad_input_is_refused(base, drawn) -> None:
    with pytest.raises(ArgumentError, match="twice"):
        fairness(base, pd.concat([drawn[1], drawn[1]]), RULES)
    with pytest.raises(ArgumentError, match="groups is the dict"):
        fairness(base, {"c1": "a"}, RULES)
    with pytest.raises(ArgumentError, match="reference"):
        fairness(base, drawn[1], RULES, reference="none")
    with pytest.raises(ColumnError, match="route"):
        candidate_groups(pd.DataFrame({"candidate": ["c1"]}), "route")


def test_a_candidate_whose_records_differ_has_no_group() -> None:
    placements = pd.DataFrame(
        {"candidate": ["c1", "c1", "c2", "c2", "c3"], "route": ["x", "y", "x", None, None]}
    )
    labels = candidate_groups(placements, "route")
    assert labels.isna().tolist() == [True, False, True]
    assert labels["c2"] == "x"


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


def test_columns_statuses_and_references_are_of_the_closed_lists(found) -> None:
    for name in TABLES:
        table = getattr(found, name)
        assert set(table.columns) <= known("result_columns.toml"), name
        assert set(table["status"]) <= known("statuses.toml")
        assert set(table.get("reference", [])) <= set(SOURCES)


def test_the_same_twice(base, drawn, found) -> None:
    again = fairness(base, drawn[1], RULES)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(again, name), getattr(found, name))


def test_what_is_planted_in_the_invented_programme_is_found(
    invented, invented_records, invented_base
) -> None:
    told = fairness(invented_base, candidate_groups(invented_records.placements, "entry_route"), RULES)
    planted = invented.truth.biases.set_index("effect").to_dict("index")
    rater = told.raters.set_index("rater").loc[planted["rater"]["member"]]
    assert (rater["group"], rater["against"]) == (planted["rater"]["group"], planted["rater"]["against"])
    assert abs(rater["contrast"] - planted["rater"]["logits"]) < WITHIN * rater["contrast_se"]
    assert rater["p_adjusted"] < 0.05
    others = told.raters[(told.raters["rater"] != planted["rater"]["member"]) & told.raters["p"].notna()]
    assert (others["p_adjusted"] > 0.05).all()
    shifts_of = told.criteria[told.criteria["criterion"] == planted["criterion"]["member"]]
    assert len(shifts_of) == 2
    beside_seven = planted["criterion"]["logits"] * 7 / 8
    assert ((shifts_of["contrast"] - beside_seven).abs() < WITHIN * shifts_of["contrast_se"]).all()
    assert abs(told.roles["contrast"].iloc[0]) < WITHIN * told.roles["contrast_se"].iloc[0]
