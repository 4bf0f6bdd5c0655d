"""What the sections on agreement print is what the statistics found, and nothing of groups too small."""

import datetime
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats import agreement, policy
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.counts.double_scoring import double_scores
from mentorstats.agreement.reading import in_words, next_round, selection
from mentorstats.agreement.scores import between_roles, single_scores
from mentorstats.declared import study
from mentorstats.errors import SourceFileError
from mentorstats.key_scores import analyse
from mentorstats.report import run, small_groups
from mentorstats.report.agreement import double_scoring, representativeness
from mentorstats.report.key_scores import certification
from mentorstats.report.model import Verdict
from mentorstats.report.numbers import number
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


def whole(paths):
    """Return the text of all documents of a report."""
    return "".join(path.read_text(encoding="utf-8") for path in paths.paths)


def section(made, key):
    return next(part for part in made.sections if part.key == key)


def table(made, key):
    return next(one for part in made.sections for one in part.tables if one.key == key)


def test_words_and_probabilities_are_those_of_the_statistics(made, apart, levels):
    words = in_words.in_words(by_version.by_version(apart, levels), policy.read())
    shown = table(made, "in-words-hearthside-1").data.set_index("criterion")
    for criterion, row in shown.iterrows():
        key = ("hearthside", "1", criterion)
        assert row["supported"] == words.read.loc[key, "band_assured"]
        assert row["probability"] == words.bands.loc[(*key, row["supported"]), "p_at_least"]
        assert row["probability"] >= 0.95 or row["supported"] == words.scale.labels[0]
    labels = [column.label for column in table(made, "in-words-hearthside-1").columns]
    assert labels[4:] == ["Highest word supported", "Probability of that word or a better one"]
    newest = words.read.xs("2", level="rubric_version")["band_assured"].value_counts()
    for band, n in newest.items():
        assert f"“{band}” on {n}" in section(made, "in-words").answer
    assert "Landis & Koch (1977)" in section(made, "in-words").answer


def test_the_scale_is_the_policys(make_records, tmp_path):
    (tmp_path / policy.FILE_NAME).write_text(
        '[[rule]]\nid = "agreement_words"\nvalue = "fleiss_1981"\ninequality = "=="\nunit = "scale"\n'
        'source = "fleiss_1981"\nkind = "convention"\neffective_from = 2020-01-01\n'
    )
    html = whole(run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path))
    assert "The words are those of Fleiss (1981)" in html
    assert "fleiss_1981" in html


def test_alarms_are_listed_where_they_go(made, apart, levels):
    odd = in_words.paradoxes(apart, levels, policy.read())
    shown = pd.concat([one.data for one in section(made, "in-words").tables if one.key.startswith("paradox")])
    assert len(shown) == len(odd) > 0
    assert shown["prevalence"].tolist() == odd["prevalence_index"].tolist()
    assert set(shown["level"]) <= {"With support", "In part", "Reliably", "Reliably, and adapts"}


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
    newest = table(made, "lesson-scores-table").data.iloc[1]
    assert number(newest["upper"], "levels") in section(made, "lesson-scores").answer


def test_the_plan(made, apart, levels):
    found = next_round.needed(apart, levels, policy.read()).sort_index()
    shown = table(made, "next-round-table").data
    assert shown["half_width"].to_numpy() == pytest.approx(
        next_round.needed(apart, levels, policy.read())["half_width"].to_numpy()
    )
    needed = found.loc[("hearthside", "2", "middle_criterion", "as_estimated"), "n_lessons_half_width"]
    assert f"Under hearthside, version 2, about {needed:,} lessons" in section(made, "next-round").answer


def test_a_floor_that_kappa_does_not_reach_is_said_plainly(make_records, tmp_path):
    (tmp_path / policy.FILE_NAME).write_text(
        '[[rule]]\nid = "agreement_floor"\nvalue = 0.97\ninequality = ">"\nunit = "weighted kappa"\n'
        'source = "common practice, no source"\nkind = "guidance"\neffective_from = 2020-01-01\n'
    )
    made = run.find("rater-calibration")(make_records(), policy.read(tmp_path))
    shown = table(made, "next-round-table").data
    assert shown["n_lessons_floor"].isna().all()
    assert set(shown["n_lessons_floor_status"]) == {"not_reachable"}
    assert "is not above 0.97, so more lessons are unlikely to show that it is" in " ".join(
        section(made, "next-round").detail
    )


def test_months_and_raters(made, long_table):
    shown = table(made, "double-by-rater").data.set_index("role")
    of_raters = agreement.by_rater(long_table).query("rater_role == 'mentor'")
    assert shown.loc["Mentor", "lessons"] == of_raters["n_double_scored"].median()
    assert shown.loc["Mentor", "with_one"] == of_raters["partner_share"].median()
    assert np.isnan(shown.loc["Supervisor", "lessons"]), "five supervisors are fewer than ten people"
    months = table(made, "double-by-month")
    assert months.data["group"].str.fullmatch(r"\d{4}-\d{2}").all()


def test_lessons_that_differ_are_weighted_and_alike_ones_are_not(long_table, levels, shipped):
    one_site = long_table.assign(site="Moss")
    pairs = agreement.double_scored(one_site)
    chosen = long_table["observation"].str[1:].astype(int)
    drifted = one_site.assign(week=(chosen % 6 == 0) * 4 + chosen % 7)  # later where both rated
    found = selection.compare(drifted, pairs, levels, shipped)
    part = representativeness.section(found, shipped)
    assert part.verdict is Verdict.NO
    _, weighted = part.tables
    kappa = weighted.data.set_index(["version", "lessons"])["kappa"]
    of = found.agreement.xs("cohen_kappa", level="coefficient")["value"]
    key = ("hearthside, version 1", "Weighted to all lessons")
    assert kappa[key] == of["weighted", "hearthside", "1"]
    assert number(kappa[key], "coefficient") in part.detail[0]
    assert weighted.data["n_effective"].iloc[0] > weighted.data["n_effective"].iloc[1]
    quiet = replace(found, n_beyond=0, weights=None, agreement=pd.DataFrame())
    part = representativeness.section(quiet, shipped)
    assert (part.verdict, len(part.tables)) == (Verdict.YES, 1)
    assert part.answer.startswith("No clear difference in ")
    near = replace(found, likeness=found.likeness.assign(value=0.11, status="ok"), by_chance=0.3)
    assert representativeness.section(near, shipped).verdict is Verdict.NOT_CLEAR
    parted = replace(found, likeness=found.likeness.assign(value=np.nan, status="no_spread"))
    assert "do not overlap at all" in representativeness.section(parted, shipped).answer


def test_a_site_of_few_candidates_has_no_line(made):
    lines = table(made, "representativeness-lines").data.set_index(["what", "category"])
    assert lines.loc[("Site", "Fern"), ["n_candidates", "value", "value_weighted"]].isna().all()
    assert lines.loc[("Site", "Moss"), ["n_candidates", "value"]].isna().all()  # a total would give Fern away
    assert lines.loc[("Site", "Reed"), ["n_candidates", "value"]].notna().all()
    assert "Fern" not in section(made, "representativeness").answer


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


def test_certificates_are_counted_by_standing_and_small_groups_are_not_shown(long_table, shipped):
    on = datetime.date(2026, 11, 30)
    found = analyse.standing(register(), long_table, on=on)
    part = certification.section(found, on, shipped)
    shown = small_groups.blank(part.tables[0], shipped.rule("minimum_group_size"))
    rows = {(row[0].text, row[1].text): row[2].text for row in view(shown).rows}
    assert rows["Mentor", "current, ending soon"] == "30"
    assert rows["Mentor", "expired"] == "not shown"
    n_mentors = long_table.loc[long_table["rater_role"] == "mentor", "rater"].nunique()
    assert n_mentors - 33 == 17
    assert rows["Mentor", "no certification date"] == "not shown"  # 50 less 30 less 17 would be the other
    assert rows["Supervisor", "no certification date"] == "not shown"
    assert "some expired" in part.findings[0].how_sure
    assert str(n_mentors) not in part.answer


def test_certificates_are_looked_at_on_the_last_day_or_the_day_asked_for(make_records, tmp_path):
    records = make_records()
    records.raters = register()
    analysis = run.find("rater-calibration")
    last = analyse.last_day(records.long())
    told = section(analysis(records, policy.read()), "certificates").answer
    assert told.startswith(f"On {last.isoformat()}, certification was current for ")
    html = whole(run.run(analysis, records, tmp_path, tmp_path, as_of="2021-06-01"))
    assert "On 2021-06-01, certification was current for 0 of" in html
    assert "starts later" in html


def test_without_a_register_the_section_says_what_would_fill_it(made):
    assert section(made, "certificates").status == "no_records"
    assert "certified_on" in section(made, "certificates").needs


def test_the_study_beside_the_exports_is_told_and_its_gaps_shown(make_records, tmp_path):
    (tmp_path / study.FILE_NAME).write_text('sampling = "Drawn by lot."\n')
    html = whole(
        run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path, date="2026-09-01")
    )
    assert "Drawn by lot." in html
    assert "7 are missing" in html
    assert f"{study.FILE_NAME} (SHA-256)" in html, "its checksum stands with the settings"
    (tmp_path / study.FILE_NAME).write_text('samplings = "x"\n')
    with pytest.raises(SourceFileError, match="sampling"):
        run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path)


def test_the_error_of_measurement_has_its_interval(made, long_table):
    found = single_scores.single_scores(long_table, confidence=0.95, seed=0)
    row = found[(found["rubric_version"] == "1") & (found["coefficient"] == "icc_a_1")].iloc[0]
    shown = section(made, "single-scores").tables[1].data.iloc[0]
    assert (shown["sem_low"], shown["sem_high"]) == (row["sem_low"], row["sem_high"])
    assert shown["sem_low"] < shown["sem"] < shown["sem_high"]


def test_double_scoring_of_nobody_is_empty(long_table, shipped):
    alone = long_table[long_table["rater_role"] == "mentor"]
    part = double_scoring.section(double_scores(alone), shipped)
    assert part.verdict is Verdict.NOT_MET
    assert "typical mentor" not in part.answer
