"""The section on severity: words, small groups, order, and nothing to show."""

import re
from dataclasses import replace

import numpy as np
import pytest
from crossed import programme

from mentorstats.calibration import base_fit, flags, linkage, separation
from mentorstats.calibration import severity as of_raters
from mentorstats.report import small_groups
from mentorstats.report.calibration import severity
from mentorstats.report.figures import drawing
from mentorstats.report.render.view import view


def built(long, policy, **more):
    base = base_fit(long)
    table = of_raters(base, networks=linkage(long.assign(level=long["rank"])).raters)
    found = flags({"severity": table}, policy, **more)
    section = severity.section(found, separation(base, table), policy)
    minimum = policy.rule("minimum_group_size")
    return replace(
        section, tables=tuple(small_groups.blank(each, minimum) for each in section.tables)
    ), found.tables["severity"]


@pytest.fixture(scope="module")
def found(shipped):
    return built(programme(4, candidates=72), shipped)


def cells(table):
    return [cell.text for row in view(table).rows for cell in row]


def raters_of(section):
    return next(table for table in section.tables if table.people)


def test_the_answer_has_the_spread_and_the_detail_flags_with_chance(found) -> None:
    section, table = found
    n = int(table["flagged"].sum())
    assert n >= 2
    assert section.answer.startswith("Supervisors differ by a standard deviation of 0.")
    assert section.answer.endswith("levels (p < 0.001).")
    assert section.detail[-1].startswith(
        f"{n} of 12 raters assessed are flagged. If no raters differed, about 0."
    )
    assert "about 1 in 20 may still be wrong" in section.detail[-1]
    assert "groups of severity can be distinguished" in section.detail[0]


def test_raters_stand_in_the_order_of_their_codes_with_shrunken_severity(found) -> None:
    section, table = found
    data = raters_of(section).data
    assert data["rater"].tolist() == sorted(data["rater"])
    assert data["severity"].to_numpy() == pytest.approx(table["effect_level"].to_numpy())
    assert (data["flagged"] == severity.FLAGGED).sum() == table["flagged"].sum()
    for each in section.tables:
        assert not {"nan", "no value", "NaN"} & set(cells(each))
        assert not {column.name for column in each.columns} & {"rank_low", "rank_high", "places"}


def test_reliability_is_told_and_the_trades_rivals_stand_in_the_appendix(found) -> None:
    section, _ = found
    assert section.main == ("severity-roles",)
    assert [column.name for column in section.tables[0].columns][-2:] == ["sd_level", "reliability"]
    assert "distinguishable_groups" in [column.name for column in section.tables[1].columns]


def test_the_chart_shows_raters_in_the_order_of_codes(found) -> None:
    section, _ = found
    (figure,) = section.figures
    made = drawing.svg(figure, raters_of(section).data)
    codes = re.findall(r">(r\d\d)</text>", made)
    assert codes == sorted(codes)
    assert len(codes) == 12


def test_raters_of_few_candidates_and_roles_of_few_raters_are_not_listed(shipped) -> None:
    long = programme(4, candidates=72)
    few = long["candidate"].isin(long.loc[long["rater"] == "r10", "candidate"].unique()[:9])
    section, _ = built(long[(long["rater"] != "r10") | few], shipped)
    assert "r10" not in raters_of(section).data["rater"].tolist()
    assert "1 rater with fewer than 10 candidates is not listed." in raters_of(section).note
    small, _ = built(long[long["rater"] < "r06"], shipped)
    assert np.isnan(small.tables[0].data["sd_level"]).all()
    assert small.answer == "Not shown, because there are too few raters of each role."


def test_nobody_is_told_of_how_many_where_a_role_is_hidden(shipped) -> None:
    long = programme(4, candidates=72)
    long.loc[long["rater"] == "r07", "rater_role"] = "trainer"
    section, table = built(long, shipped)
    assert section.tables[0].data["n_raters"].isna().any()
    n = int(table["flagged"].sum())
    assert section.detail[-1].startswith(f"{n} raters are flagged. If no raters differed, ")


def test_who_is_not_assessed_is_told_with_the_reason(shipped) -> None:
    section, _ = built(programme(4, candidates=72), shipped, not_ignorable=["supervisor"])
    assert section.detail[-1] == "No rater was assessed (assignment not ignorable)."
    assert set(raters_of(section).data["flagged"]) == {severity.NOT_ASSESSED}


def test_nothing_to_show(shipped) -> None:
    section, _ = built(programme(4).assign(rank=2), shipped)
    assert not section.tables
    assert section.status != "ok"
    assert section.answer.startswith("The ratings do not allow a model of raters. ")
