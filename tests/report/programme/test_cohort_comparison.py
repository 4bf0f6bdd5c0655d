"""What the report on cohorts says of the demo and of programmes of every size."""

import re

import any_programme
import pandas as pd
import pytest
from lxml import html
from test_words import LONGEST, MANY_ONE, MEAN, NOUGHT, ODD, ONE_MANY, SAME, generated, paragraphs, words

from mentorstats import policy, records
from mentorstats.report import run
from mentorstats.report.model import Verdict

NAME = "cohort-comparison"


@pytest.fixture(scope="module")
def small_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small-cohorts")
    any_programme.write_small(folder)
    run.run(run.find(NAME), records.load(folder), folder, folder / "reports", date="2026-09-01")
    return folder


@pytest.fixture(scope="module")
def made(demo_folder):
    return run.find(NAME)(records.load(demo_folder), policy.read(demo_folder))


@pytest.fixture(scope="module", params=["demo", "small"])
def reports(request):
    return request.getfixturevalue(f"{request.param}_folder") / "reports"


def section(report, key):
    return next(part for part in report.sections if part.key == key)


def test_the_demo_writes_both_reports_and_this_one_has_no_follow_up_sheet(demo_folder):
    written = {path.name for path in (demo_folder / "reports").iterdir()}
    assert {f"{NAME}.html", f"{NAME}-appendix.html", "rater-calibration.html"} <= written
    assert f"{NAME}-follow-up.html" not in written


def test_no_section_fails(made):
    assert {part.key: part.defect for part in made.sections if part.defect} == {}


def test_the_page_counts_the_placements_of_the_demo(made):
    answer = section(made, "coverage").answer
    assert re.search(r"Of \d+ completed placements, \d+ \(\d+.%\) have at least 6 observed lessons", answer)
    assert section(made, "coverage").verdict is Verdict.MET


def test_too_few_lessons_ask_for_something(tmp_path):
    any_programme.write_small(tmp_path)
    (tmp_path / "policy.toml").write_text("visits_expected = 5\n")
    found = section(run.find(NAME)(records.load(tmp_path), policy.read(tmp_path)), "coverage")
    assert found.verdict is Verdict.NOT_MET
    assert found.findings[0].what == "20 completed placements had fewer than 5 observed lessons."


@pytest.mark.parametrize("seed", [13, 11, 34, 37, 94])
def test_a_random_small_programme_gets_its_report(seed, tmp_path):
    any_programme.write(seed, tmp_path)
    report = run.find(NAME)(records.load(tmp_path), policy.read(tmp_path))
    assert {part.key: part.defect for part in report.sections if part.defect} == {}
    assert all(
        path.stat().st_size > 1_000
        for path in run.write(report, policy.read(), tmp_path, [run.form("page")]).paths
    )


def test_one_row_is_no_reason_to_fail(tmp_path):
    made = any_programme.small()
    ratings = made["ratings"].iloc[:1]
    lessons = made["observations"].merge(ratings[["observation"]])
    placed = made["placements"].merge(lessons[["placement"]])
    for name, table in (made | {"ratings": ratings, "observations": lessons, "placements": placed}).items():
        pd.DataFrame(table).to_csv(tmp_path / f"{name}.csv", index=False)
    report = run.find(NAME)(records.load(tmp_path), policy.read(tmp_path))
    assert {part.key: part.defect for part in report.sections if part.defect} == {}


def test_sentences_of_the_page_are_short(reports):
    lengths = {sentence: words(sentence) for sentence in generated(reports / f"{NAME}.html")}
    assert [sentence for sentence, n in lengths.items() if n > LONGEST] == []
    assert sum(lengths.values()) / len(lengths) <= MEAN


@pytest.mark.parametrize("end", ["", "-appendix"])
def test_words_and_numbers_are_those_of_the_trade(reports, end):
    said = paragraphs(reports / f"{NAME}{end}.html")
    for pattern in (ONE_MANY, MANY_ONE, SAME, NOUGHT):
        assert [text for text in said if pattern.search(text)] == [], pattern.pattern
    for odd in (*ODD, "growth in", "rank of"):
        assert [text for text in said if odd in text.lower()] == [], odd


def test_the_page_is_short(reports):
    body = html.parse(str(reports / f"{NAME}.html")).getroot().find("body").text_content()
    assert len(body.split()) <= 2_500


def test_cycles_are_told_with_their_interval_and_a_lonely_site_is_a_finding(made):
    found = section(made, "cohorts")
    assert "Cycle 2024-25 was rated 0.39 [0.24, 0.53] levels above cycle 2023-24." in found.answer
    assert found.findings[0].what == "1 of 5 sites cannot be compared with the others."
    table = next(t for t in found.tables if t.key == "contrasts-site").data
    assert list(table["group"]) == sorted(table["group"]), "in the order of the codes"
    assert table["value"].isna().sum() == 1
    assert not found.figures, "no chart of sites"


def test_change_is_called_change_in_rated_level_and_has_its_figure_and_table(made):
    found = section(made, "change")
    assert found.answer.startswith("From week 1 to week 14, the expected level changed by +0.29")
    assert found.main == ("change-moments", "change-curve")
    assert found.figures[0].table == "change-weeks"
    assert "growth" not in " ".join((found.answer, *found.detail, *found.method, *found.caution)).lower()
    assert "Raters may drift too." in found.caution[0]


def test_without_dates_the_page_says_what_would_fill_the_section(tmp_path):
    made = any_programme.small()
    made["placements"] = made["placements"].drop(columns=["start", "end"])
    for name, table in made.items():
        table.to_csv(tmp_path / f"{name}.csv", index=False)
    report = run.find(NAME)(records.load(tmp_path), policy.read(tmp_path))
    found = section(report, "change")
    assert found.answer.startswith("Change cannot be estimated. Lessons of several weeks are needed")
    assert not found.assessed


def test_what_to_record_next_is_one_table(made):
    found = section(made, "next-records")
    table = found.tables[0].data.set_index("about")
    assert table.loc["link", "n"] == 2
    assert table.loc["link", "what"] == "Lessons rated by a rater of another site"
    assert table.loc["lessons", "then"] > table.loc["lessons", "now"]
    assert found.answer.startswith(f"{len(table)} kinds of records")
