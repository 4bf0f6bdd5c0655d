"""The section on what lets raters be compared: words, small groups, and linked raters apart from others."""

from dataclasses import replace

import pandas as pd
import pytest

from mentorstats import demo
from mentorstats.calibration import analyse
from mentorstats.report import small_groups
from mentorstats.report.calibration import linkage as networks
from mentorstats.report.render.view import view


def built(frame, policy):
    section = networks.section(analyse.networks(frame, policy), policy)
    minimum = policy.rule("minimum_group_size")
    return replace(section, tables=tuple(small_groups.blank(table, minimum) for table in section.tables))


@pytest.fixture(scope="module")
def invented():
    programme = demo.programme()
    lessons = programme.observations[["observation", "placement"]].merge(programme.placements, on="placement")
    return programme, programme.ratings.merge(lessons, on="observation")


def table(section, key):
    (found,) = (each for each in section.tables if each.key == f"networks-{key}")
    return found


def test_the_invented_programme_in_a_sentence_and_tables(invented, shipped):
    programme, frame = invented
    section = built(frame, shipped)
    assert section.answer == (
        "108 of 135 mentors can be compared with most others of the role. "
        "16 of 20 supervisors can be compared with most others of the role."
    )
    assert section.detail[1] == (
        "Supervisors are connected by the same lessons. 4 can be compared with the rest only by assuming "
        "comparable caseloads."
    )
    (finding,) = section.findings
    assert finding.what == "Severity cannot be compared for 27 of 135 mentors and 4 of 20 supervisors."
    truth = programme.truth.raters.set_index("rater")["network"]
    listed = frame.groupby("rater")["candidate"].nunique()
    for key, number in (("linked", 1), ("apart", 2)):
        rows = table(section, key).data
        codes = rows["rater"].tolist()
        assert codes == sorted(codes)
        assert set(truth[codes]) == {number}
        assert (listed[codes] >= 10).all()
    assert "not listed" in table(section, "linked").note
    apart = table(section, "apart")
    (number,) = set(apart.data["remark"])
    assert f"Remark {number}: {apart.data['status_note'].iloc[0]}" in apart.note
    assert f"site {programme.truth.unlinked_site}" in apart.note
    assert "Remark" not in table(section, "linked").note
    assert len(table(section, "versions").data) == 4
    assert table(section, "cohorts").data["joined"].eq("yes").all()
    for each in section.tables:
        text = [cell.text for row in view(each).rows for cell in row]
        assert "nan" not in text
        assert "no value" not in text


def test_small_roles_and_raters_of_few_candidates_are_not_shown(make_long, shipped):
    frame = make_long()
    section = built(frame, shipped)
    roles = table(section, "roles")
    small = roles.data.set_index("rater_role").loc["Supervisors"]
    assert pd.isna(small["n_raters"])
    assert pd.isna(small["n_linked"])
    assert "There are fewer than 10 supervisors, so their numbers are not shown." in section.answer
    shown = [code for each in section.tables if "rater" in each.data for code in each.data["rater"]]
    assert not [code for code in shown if code.startswith("m")]


def test_what_cannot_be_told_apart_is_said(make_long, shipped):
    frame = make_long()
    frame = frame[frame["rater_role"] == "mentor"]
    frame["site"] = frame["candidate"]
    section = built(frame, shipped)
    assert section.answer == "None of the 50 mentors can be compared with most others of the role."
    assert "50 cannot be distinguished from their site, cohort or rubric version." in section.detail[0]


def test_without_ratings_there_is_a_status(make_long, shipped):
    section = built(make_long().iloc[:0], shipped)
    assert section.status == "no_records"
    assert section.tables == ()
    unrated = make_long().assign(level=None)
    assert built(unrated, shipped).status == "no_records"
