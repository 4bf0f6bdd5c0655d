"""What the first analysis says about programmes of known shape."""

import re

import pandas as pd
import pytest

from mentorstats import agreement
from mentorstats.agreement.coefficients import by_version
from mentorstats.caution import CAUTION
from mentorstats.drawings.style import ACCENT
from mentorstats.report import run, small_groups
from mentorstats.report.columns import Kind
from mentorstats.report.model import Verdict

KEYS = [
    "records-used",
    "without-level",
    "double-scored",
    "agreement",
    "in-words",
    "differences",
    "levels-used",
    "lesson-scores",
    "representativeness",
    "independence",
    "next-round",
    "single-scores",
    "components-and-plan",
    "networks",
    "assignment",
    "follow-up-flags",
    "severity",
    "drift",
    "spread-and-halo",
    "rating-fit",
    "own-mentor",
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
PAIRED = ("agreement", "in-words", "independence", "representativeness", "differences", "levels-used")
PAIRED += ("lesson-scores", "next-round")


@pytest.fixture
def report(shipped):
    def analysed(records):
        made = run.find("rater-calibration")(records, shipped, seed=0)
        assert [part.defect for part in made.sections if part.defect] == []
        return small_groups.applied(made, shipped.rule("minimum_group_size"))

    return analysed


def section(made, key):
    return next(part for part in made.sections if part.key == key)


def test_the_sections_stand_in_their_order_and_none_fails(made):
    assert [part.key for part in made.sections] == KEYS
    assert [part.defect for part in made.sections if part.defect] == []
    notes = {"reading", "methods", "cautions", "reporting-items"}
    assert all(bool(part.answer) != (part.key in notes) for part in made.sections)


def test_the_numbers_of_the_page_are_those_of_the_statistics(made, make_long, declared):
    pairs = agreement.double_scored(make_long())
    pairs = pairs[pairs["independent"].fillna(True)]
    found = by_version.by_version(pairs, declared).loc[("hearthside", "1", "k7w2")]
    table = section(made, "agreement").tables[1].data.set_index("criterion")
    assert table.loc["k7w2", "kappa"] == found.loc["cohen_kappa", "value"]
    assert table.loc["k7w2", "ac_low"] == found.loc["gwet_ac", "low"]
    assert table.loc["k7w2", "exact_chance"] == found.loc["percent_agreement", "p_expected"]
    assert table.loc["k7w2", "n_units"] == found.loc["gwet_ac", "n_units"]


def test_versions_stand_side_by_side(made):
    tables = section(made, "agreement").tables
    assert [table.key for table in tables] == ["agreement-hearthside-2", "agreement-hearthside-1"]
    assert [len(table.data) for table in tables] == [2, 3]


def test_the_planted_lean_of_mentors_is_found_and_said(made):
    part = section(made, "differences")
    assert (part.tables[0].data["value"] > 0).all()
    assert "mentors give clearly higher levels on 3 of 3 criteria" in " ".join(part.detail)


def test_small_sites_are_blanked(made):
    sites = next(table for table in section(made, "double-scored").tables if table.key == "double-by-site")
    fern = sites.data.set_index("group").loc["Fern"]
    assert pd.isna(fern["n_candidates"])
    assert pd.isna(fern["value"])


def test_candidates_are_never_listed_and_raters_of_few_have_no_numbers(made, pages, shipped, make_long):
    table = make_long()
    for code in table["candidate"].unique():
        assert all(f">{code}<" not in page for page in pages.values())
    seen = table[table["level"].notna()].groupby("rater")["candidate"].nunique()
    few = set(seen.index[seen < shipped.value("minimum_group_size")])
    assert few
    for shown in (table for part in made.sections for table in part.tables if "rater" in table.data):
        rows = shown.data[shown.data["rater"].isin(few)]
        assert rows[[column.name for column in shown.of(Kind.STATISTIC)]].isna().all(axis=None)


def test_enough_double_scores_meet_the_policy_and_too_few_do_not(made, make_long, make_records, report):
    assert section(made, "double-scored").verdict is Verdict.MET
    table = make_long()
    single = table[(table["rater_role"] == "mentor") | (table["observation"] < "o0020")]
    assert section(report(make_records(single)), "double-scored").verdict is Verdict.NOT_MET


def test_without_double_scores_the_report_says_what_is_missing(make_long, make_records, report, rendered):
    table = make_long()
    made = report(make_records(table[table["rater_role"] == "mentor"]))
    for key in PAIRED:
        assert section(made, key).status == "no_double_scores"
        assert section(made, key).needs == "ratings of the same lesson by both roles"
    assert "No lesson was rated by both" in rendered(made)


def test_when_all_pairs_are_dependent_nothing_is_compared(make_long, make_records, report, rendered):
    made = report(make_records(make_long().assign(independent=pd.array([False] * len(make_long())))))
    assert section(made, "agreement").status == "no_double_scores"
    assert "are marked as not independent" in section(made, "independence").answer
    assert rendered(made)


def test_when_independence_was_never_recorded_the_report_says_so(make_long, make_records, report):
    unknown = make_long().assign(independent=pd.array([pd.NA] * len(make_long()), dtype="boolean"))
    made = report(make_records(unknown))
    assert section(made, "independence").needs == "the field independent in the ratings"


def test_a_handful_of_candidates_shows_no_number_of_theirs(make_long, make_records, report, rendered):
    table = make_long(lessons=20)
    made = report(make_records(table))
    assert "fewer than 10 candidates have lessons rated by both" in section(made, "agreement").answer
    assert section(made, "representativeness").tables == ()
    assert section(made, "representativeness").verdict is Verdict.NOT_ASSESSED
    keys = ("agreement", "in-words", "differences", "levels-used", "lesson-scores", "next-round")
    for part in (table for key in keys for table in section(made, key).tables):
        results = [column.name for column in part.columns if column.blanked]
        assert part.data[results].replace("", pd.NA).isna().all(axis=None)
        everything = part.data.drop(columns=[c for c in part.data if c.endswith(("_status", "_words"))])
        hidden = everything.drop(columns=[c.name for c in part.of(Kind.GROUP)]).replace(["", 0], pd.NA)
        assert hidden.isna().all(axis=None), "a number of a small group is still in the model"
    html = rendered(made)
    for figure in re.findall(r"<figure.*?</figure>", html, re.DOTALL):
        assert ACCENT not in figure, "a dot or an interval is drawn"
        assert not re.search(r">[0-9]+ %</text>", figure)


def test_dots_and_intervals_of_large_groups_are_drawn(pages):
    figures = [
        figure for page in pages.values() for figure in re.findall(r"<figure.*?</figure>", page, re.DOTALL)
    ]
    assert len(figures) >= 5
    assert sum(ACCENT in figure for figure in figures) >= 3


def test_one_level_everywhere_has_a_reason_and_no_kappa(make_long, make_records, report, rendered):
    table = make_long()
    table["rank"] = table["rank"].mask(table["rank"].notna(), 3)
    table["level"] = table["level"].where(table["level"].isna(), "reliable")
    made = report(make_records(table))
    assert set(section(made, "agreement").tables[0].data["kappa_status"]) == {"one_level_used"}
    assert "Every rating is the same level" in rendered(made)


@pytest.mark.parametrize("column", ["site", "cohort", "date"])
def test_what_was_not_recorded_is_named(make_long, make_records, column, report, rendered):
    table = make_long()
    table[column] = pd.NaT if column == "date" else None
    html = rendered(report(make_records(table)))
    assert column == "date" or "not recorded" in html


def test_the_caution_stands_on_every_document_and_under_every_list_of_people(made, pages):
    lists = sum(table.people for part in (*made.sections, made.follow_up) for table in part.tables)
    assert sum(page.count(CAUTION.replace("'", "&#39;")) for page in pages.values()) == lists + 2 * len(pages)
    assert lists > 5


def test_the_page_is_short(html):
    words = re.sub(r"<[^>]+>", " ", re.sub(r"<(svg|style).*?</\1>", " ", html, flags=re.DOTALL)).split()
    assert len(words) <= 4000
