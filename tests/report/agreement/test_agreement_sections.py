"""What the sections on agreement print is what the statistics found, and nothing of groups too small."""

import datetime
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats import agreement, policy, study
from mentorstats.agreement import overview
from mentorstats.agreement.reading import in_words, next_round, selection
from mentorstats.agreement.scores import between_roles
from mentorstats.errors import SourceFileError
from mentorstats.report import run
from mentorstats.report.agreement import balance, double_scoring
from mentorstats.report.key_scores import certification
from mentorstats.report.model import Verdict
from mentorstats.report.numbers import number
from mentorstats.report.render import page
from mentorstats.report.render.view import view


@pytest.fixture
def long_table(make_long):
    return make_long()


@pytest.fixture
def levels(declared):
    return declared


@pytest.fixture
def apart(long_table):
    pairs = agreement.double_scored(long_table)
    return pairs[pairs["independent"].fillna(True)]


def section(made, key):
    return next(part for part in made.sections if part.key == key)


def table(made, key):
    return next(one for part in made.sections for one in part.tables if one.key == key)


def test_words_and_probabilities_are_those_of_the_statistics(made, apart, levels):
    words = in_words.in_words(overview.by_version(apart, levels), policy.read())
    shown = table(made, "claims-hearthside-1").data.set_index("criterion")
    for criterion, row in shown.iterrows():
        key = ("hearthside", "1", criterion)
        assert row["assured"] == words.read.loc[key, "band_assured"]
        assert row["band_2"] == words.bands.loc[(*key, "moderate"), "p_at_least"]
    labels = table(made, "claims-hearthside-1").labels
    assert [labels[f"band_{place}"] for place in (0, 4)] == ["At least almost perfect", "At least slight"]
    counts = pd.concat([words.read["band_assured"]]).value_counts()
    for band, n in counts.items():
        assert f"“{band}” on {n}" in section(made, "claims").answer
    assert "Landis & Koch (1977)" in section(made, "claims").answer


def test_the_scale_is_the_policys(make_records, tmp_path):
    (tmp_path / policy.FILE_NAME).write_text(
        '[[rule]]\nid = "agreement_words"\nvalue = "fleiss_1981"\ninequality = "=="\nunit = "scale"\n'
        'source = "fleiss_1981"\nkind = "convention"\neffective_from = 2020-01-01\n'
    )
    html = run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path).read_text()
    assert "In the words of Fleiss (1981)" in html
    assert ">fleiss_1981</td>" in html


def test_alarms_are_listed_where_they_go(made, apart, levels):
    odd = in_words.paradoxes(apart, levels, policy.read())
    shown = pd.concat([one.data for one in section(made, "claims").tables if one.key.startswith("paradox")])
    assert len(shown) == len(odd) > 0
    assert shown["prevalence"].tolist() == odd["prevalence_index"].tolist()
    assert set(shown["level"]) <= {"With much help", "In part", "Steadily", "Pupils carry it on"}


def test_use_of_levels(made, apart, levels):
    tests = between_roles.levels_used(apart, levels)
    shown = table(made, "levels-used-hearthside-1").data.set_index("criterion")
    for criterion, row in shown.iterrows():
        of = tests.loc[("hearthside", "1", criterion)]
        assert row["adjusted"] == of.loc["between_clusters", "p_adjusted"]
        assert row["stuart"] == of.loc["stuart_maxwell", "p"]
        assert row[[f"rank_{rank}" for rank in range(1, 5)]].sum() == pytest.approx(0)
    pairs = apart.query("rubric_version == '1' and criterion == 'k7w2'")
    gap = (pairs["rank_first"] == 4).mean() - (pairs["rank_second"] == 4).mean()
    assert shown.loc["k7w2", "rank_4"] == pytest.approx(gap)


def test_scores_of_lessons(made, apart):
    found = between_roles.lesson_agreement(apart).loc[("hearthside", "1")]
    row = table(made, "lesson-scores-table").data.iloc[0]
    assert (row["lower"], row["upper_high"]) == (
        found.loc["lower_limit", "value"],
        found.loc["upper_limit", "high"],
    )
    assert row["order"] == found.loc["kendall_w", "value"]
    assert number(row["upper"], "distance") in section(made, "lesson-scores").answer


def test_the_plan(made, apart, levels):
    found = next_round.needed(apart, levels, policy.read()).sort_index()
    shown = table(made, "next-round-table").data
    assert shown["half_width"].to_numpy() == pytest.approx(
        next_round.needed(apart, levels, policy.read())["half_width"].to_numpy()
    )
    needed = found.loc[("hearthside", "1", "middle_criterion", "as_estimated"), "n_lessons_half_width"]
    assert f"about {needed:,} under hearthside, version 1" in section(made, "next-round").answer


def test_a_floor_that_kappa_does_not_reach_is_said_plainly(make_records, tmp_path):
    (tmp_path / policy.FILE_NAME).write_text(
        '[[rule]]\nid = "agreement_floor"\nvalue = 0.97\ninequality = ">"\nunit = "weighted kappa"\n'
        'source = "common practice, no source"\nkind = "guidance"\neffective_from = 2020-01-01\n'
    )
    made = run.find("rater-calibration")(make_records(), policy.read(tmp_path))
    assert set(table(made, "next-round-table").data["n_lessons_floor"]) == {"none is enough"}
    assert (
        "is not above 0.97, so more lessons will hardly show that it is" in section(made, "next-round").answer
    )


def test_months_and_raters(made, long_table):
    shown = table(made, "double-by-rater").data.set_index("role")
    of_raters = agreement.by_rater(long_table).query("rater_role == 'mentor'")
    assert shown.loc["Mentor", "lessons"] == of_raters["n_double_scored"].median()
    assert shown.loc["Mentor", "with_one"] == of_raters["partner_share"].median()
    assert np.isnan(shown.loc["Supervisor", "lessons"]), "five supervisors are fewer than ten people"
    months = table(made, "double-by-month")
    assert months.folded
    assert months.data["group"].str.fullmatch(r"\d{4}-\d{2}").all()


def test_lessons_that_differ_are_weighted_and_alike_ones_are_not(long_table, levels, shipped):
    one_site = long_table.assign(site="Moss")
    pairs = agreement.double_scored(one_site)
    chosen = long_table["observation"].str[1:].astype(int)
    drifted = one_site.assign(week=(chosen % 6 == 0) * 4 + chosen % 7)  # later where both rated
    found = selection.compare(drifted, pairs, levels, shipped)
    part = balance.section(found, shipped)
    assert part.verdict is Verdict.NO
    lines, weighted = part.tables
    assert lines.folded
    kappa = weighted.data.set_index(["version", "lessons"])["kappa"]
    of = found.agreement.xs("cohen_kappa", level="coefficient")["value"]
    key = ("hearthside, version 1", "Weighted to all lessons")
    assert kappa[key] == of["weighted", "hearthside", "1"]
    assert f"to {number(kappa[key], 'coefficient')} under hearthside, version 1" in part.answer
    assert weighted.data["n_effective"].iloc[0] > weighted.data["n_effective"].iloc[1]
    quiet = replace(found, n_beyond=0, weights=None, agreement=pd.DataFrame())
    part = balance.section(quiet, shipped)
    assert (part.verdict, len(part.tables)) == (Verdict.YES, 1)
    assert "on none of" in part.answer
    near = replace(found, likeness=found.likeness.assign(value=0.11, status="ok"), by_chance=0.3)
    assert balance.section(near, shipped).verdict is Verdict.NOT_CLEAR
    parted = replace(found, likeness=found.likeness.assign(value=np.nan, status="no_spread"))
    assert "alone tells them apart" in balance.section(parted, shipped).answer


def test_a_site_of_few_candidates_has_no_line(made):
    lines = table(made, "alike-lines").data.set_index(["what", "category"])
    assert lines.loc[("Site", "Fern"), ["n_candidates", "value", "value_weighted"]].isna().all()
    assert lines.loc[("Site", "Moss"), ["n_candidates", "value"]].isna().all()  # a total would give Fern away
    assert lines.loc[("Site", "Reed"), ["n_candidates", "value"]].notna().all()
    assert "Fern" not in section(made, "alike").answer


def register():
    days = pd.to_datetime(["2025-01-01"] * 30 + ["2022-01-01"] * 3 + [None] * 12)
    return pd.DataFrame(
        {
            "rater": [f"m{place:02}" for place in range(45)],
            "role": "mentor",
            "certified_on": days,
            "expires_on": days + pd.DateOffset(years=2),
        }
    )


def test_certificates_are_counted_by_standing_and_small_groups_are_not_shown(long_table, shipped, strict):
    on = datetime.date(2026, 11, 30)
    found = overview.standing(register(), long_table, on=on)
    n_mentors = long_table.loc[long_table["rater_role"] == "mentor", "rater"].nunique()
    whole = certification.section(found, on, shipped).answer
    assert f"30 of {n_mentors + 5} raters" in whole
    assert "3 have ended" in whole
    part = certification.section(found, on, strict)
    shown = part.tables[0]
    rows = {(row[0].text, row[1].text): row[2].text for row in view(shown).rows}
    assert rows["Mentor", "holds, but ends soon"] == "30"
    assert rows["Mentor", "has ended"] == "not shown"
    assert rows["Mentor", "no day recorded"] == "not shown"  # with it, a total would give those ended away
    assert rows["Supervisor", "no day recorded"] == "not shown"
    assert "some groups of raters are too few to show" in part.answer


def test_certificates_are_looked_at_on_the_last_day_or_the_day_asked_for(make_records, tmp_path):
    records = make_records()
    records.raters = register()
    analysis = run.find("rater-calibration")
    last = overview.last_day(records.long())
    assert (
        f"On {last.isoformat()} the certificates"
        in section(analysis(records, policy.read()), "certificates").answer
    )
    html = run.run(analysis, records, tmp_path, tmp_path, as_of="2021-06-01").read_text()
    assert "On 2021-06-01 the certificates of 0 of" in html
    assert "begin later" in html


def test_without_a_register_the_section_says_what_would_fill_it(made):
    assert section(made, "certificates").status == "no_records"
    assert "certified_on" in section(made, "certificates").answer


def test_the_study_beside_the_exports_is_told_and_its_gaps_shown(make_records, tmp_path):
    (tmp_path / study.FILE_NAME).write_text('sampling = "Drawn by lot."\n')
    html = run.run(
        run.find("rater-calibration"), make_records(), tmp_path, tmp_path, date="2026-09-01"
    ).read_text()
    assert "Drawn by lot." in html
    assert "7 items are missing" in html
    assert f"{study.FILE_NAME} <span" in html, "its checksum stands with the settings"
    (tmp_path / study.FILE_NAME).write_text('samplings = "x"\n')
    with pytest.raises(SourceFileError, match="sampling"):
        run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path)


def test_the_error_of_measurement_has_its_interval(made, long_table):
    found = overview.single_scores(long_table, confidence=0.95, seed=0)
    row = found[(found["rubric_version"] == "1") & (found["coefficient"] == "icc_a_1")].iloc[0]
    shown = section(made, "single-scores").tables[0].data.iloc[0]
    assert (shown["sem_low"], shown["sem_high"]) == (row["sem_low"], row["sem_high"])
    assert shown["sem_low"] < shown["sem"] < shown["sem_high"]


def test_what_few_look_up_is_folded_and_still_on_the_page(made, html):
    folded = [one for part in made.sections for one in part.tables if one.folded]
    assert html.count("<details>") == len(folded) > 5
    for one in folded:
        before, after = html.split(f'id="{one.key}"')[:2]
        assert before.rindex("<details>") > before.rfind("</details>")
        assert "</table>" in after.split("</details>")[0]
    assert page.render(made)


def test_double_scoring_of_nobody_is_empty(long_table, shipped):
    alone = long_table[long_table["rater_role"] == "mentor"]
    part = double_scoring.section(overview.double_scores(alone), shipped)
    assert part.verdict is Verdict.NOT_MET
    assert "typical mentor" not in part.answer
