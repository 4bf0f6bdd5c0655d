"""What the first analysis says about programmes of known shape."""

import re

import pandas as pd
import pytest

from mentorstats import agreement, policy
from mentorstats.agreement import overview
from mentorstats.report import run
from mentorstats.report.figures.drawing import ACCENT
from mentorstats.report.model import Verdict
from mentorstats.report.render import page

KEYS = [
    "records-used",
    "double-scored",
    "agreement",
    "claims",
    "independence",
    "alike",
    "differences",
    "levels-used",
    "lesson-scores",
    "next-round",
    "single-scores",
    "components-and-plan",
    "networks",
    "assignment",
    "severity",
    "own-mentor",
    "drift",
    "spread-and-halo",
    "rating-fit",
    "talks",
    "adjusted-scores",
    "key-scores",
    "key-drift",
    "certificates",
    "fairness",
    "same-instrument",
    "reading",
    "methods",
    "cautions",
    "reporting-items",
]


def report(records, rules=None):
    return run.find("rater-calibration")(records, rules or policy.read(), seed=0)


def section(made, key):
    return next(part for part in made.sections if part.key == key)


def test_the_sections_stand_in_their_order(made):
    assert [part.key for part in made.sections] == KEYS
    assert all(part.answer for part in made.sections)


def test_the_numbers_of_the_page_are_those_of_the_statistics(made, make_long, declared):
    pairs = agreement.double_scored(make_long())
    pairs = pairs[pairs["independent"].fillna(True)]
    found = overview.by_version(pairs, declared).loc[("hearthside", "1", "k7w2")]
    table = section(made, "agreement").tables[0].data.set_index("criterion")
    assert table.loc["k7w2", "kappa"] == found.loc["cohen_kappa", "value"]
    assert table.loc["k7w2", "ac_low"] == found.loc["gwet_ac", "low"]
    assert table.loc["k7w2", "exact_chance"] == found.loc["percent_agreement", "p_expected"]
    assert table.loc["k7w2", "n_units"] == found.loc["gwet_ac", "n_units"]


def test_versions_stand_side_by_side(made):
    tables = section(made, "agreement").tables
    assert [table.key for table in tables] == ["agreement-hearthside-1", "agreement-hearthside-2"]
    assert [len(table.data) for table in tables] == [3, 2]


def test_the_planted_lean_of_mentors_is_found_and_said(made):
    part = section(made, "differences")
    assert (part.tables[0].data["value"] > 0).all()
    assert "mentors give clearly higher levels on 3 of 3 criteria" in part.answer


def test_small_sites_are_blanked(made):
    sites = next(table for table in section(made, "double-scored").tables if table.key == "double-by-site")
    fern = sites.data.set_index("group").loc["Fern"]
    assert pd.isna(fern["n_candidates"])
    assert pd.isna(fern["value"])


def test_candidates_are_never_listed_and_raters_of_few_have_no_numbers(made, html, make_long, strict):
    table = make_long()
    for code in table["candidate"].unique():
        assert f">{code}<" not in html
    seen = table[table["level"].notna()].groupby("rater")["candidate"].nunique()
    few = set(seen.index[seen < strict.value("minimum_group_size")])
    assert few
    for shown in (table for part in made.sections for table in part.tables if "rater" in table.data):
        rows = shown.data[shown.data["rater"].isin(few)]
        assert rows[list(shown.statistic_columns)].isna().all(axis=None)


def test_enough_double_scores_meet_the_policy_and_too_few_do_not(made, make_long, make_records):
    assert section(made, "double-scored").verdict is Verdict.MET
    table = make_long()
    single = table[(table["rater_role"] == "mentor") | (table["observation"] < "o0020")]
    assert section(report(make_records(single)), "double-scored").verdict is Verdict.NOT_MET


def test_without_double_scores_the_report_says_what_is_missing(make_long, make_records):
    table = make_long()
    made = report(make_records(table[table["rater_role"] == "mentor"]))
    keys = ("agreement", "claims", "independence", "alike", "differences", "levels-used", "lesson-scores")
    for key in (*keys, "next-round"):
        assert section(made, key).status == "no_double_scores"
        assert "would fill this section" in section(made, key).answer
    assert b"No lesson was rated by both" in page.render(made)


def test_when_all_pairs_are_dependent_nothing_is_compared(make_long, make_records):
    made = report(make_records(make_long().assign(independent=pd.array([False] * len(make_long())))))
    assert section(made, "agreement").status == "no_double_scores"
    assert "nothing that can be computed" in section(made, "independence").answer
    assert page.render(made)


def test_when_independence_was_never_recorded_the_report_says_so(make_long, make_records):
    unknown = make_long().assign(independent=pd.array([pd.NA] * len(make_long()), dtype="boolean"))
    made = report(make_records(unknown))
    assert "do not say which ratings were made independently" in section(made, "independence").answer


def test_a_handful_of_candidates_shows_no_number_of_theirs(make_long, make_records, strict):
    table = make_long(lessons=20)
    made = report(make_records(table), strict)
    assert "fewer than 10 candidates have lessons rated by both" in section(made, "agreement").answer
    assert section(made, "agreement").verdict is Verdict.TOO_FEW
    assert section(made, "alike").tables == ()
    assert section(made, "alike").verdict is Verdict.TOO_FEW
    keys = ("agreement", "claims", "differences", "levels-used", "lesson-scores", "next-round")
    for part in (table for key in keys for table in section(made, key).tables):
        assert part.data[[*part.statistic_columns]].replace("", pd.NA).isna().all(axis=None)
        everything = part.data.drop(columns=[c for c in part.data if c.endswith(("_status", "_words"))])
        hidden = everything.drop(columns=list(part.group_columns)).replace(["", 0], pd.NA)
        assert hidden.isna().all(axis=None), "a number of a small group is still in the model"
    html = page.render(made).decode()
    for figure in re.findall(r"<figure.*?</figure>", html, re.DOTALL):
        assert ACCENT not in figure, "a dot or an interval is drawn"
        assert not re.search(r">[0-9]+ %</text>", figure)


def test_dots_and_intervals_of_large_groups_are_drawn(html):
    figures = re.findall(r"<figure.*?</figure>", html, re.DOTALL)
    assert [ACCENT in figure for figure in figures] == [True, False, True, False, True]


def test_one_level_everywhere_has_a_reason_and_no_kappa(make_long, make_records):
    table = make_long()
    table["rank"] = table["rank"].mask(table["rank"].notna(), 3)
    table["level"] = table["level"].where(table["level"].isna(), "steady")
    made = report(make_records(table))
    assert set(section(made, "agreement").tables[0].data["kappa_status"]) == {"one_level_used"}
    assert "Every rating is the same level" in page.render(made).decode()


@pytest.mark.parametrize("column", ["site", "cohort", "date"])
def test_what_was_not_recorded_is_named(make_long, make_records, column):
    table = make_long()
    table[column] = pd.NaT if column == "date" else None
    html = page.render(report(make_records(table))).decode()
    assert column == "date" or "not recorded" in html


def test_cautions_are_said(made):
    said = " ".join([section(made, "cautions").answer, *section(made, "cautions").method])
    for words in (
        "not a sole basis",
        "own policy",
        "local law",
        "licensed practitioners",
        "not a league table",
    ):
        assert words in said
