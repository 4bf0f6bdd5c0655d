"""The report on mentoring: whole on the demo, on a small programme, and on next to nothing."""

import any_programme
import pandas as pd
import pytest

from mentorstats import cli, policy, records
from mentorstats.programme import conferences
from mentorstats.programme.exact_shares import exact_shares
from mentorstats.report import run
from mentorstats.report.columns import Kind
from mentorstats.report.model import Concern
from mentorstats.report.programme import conferences as part

NAME = "mentoring-practice"


def analysed(folder):
    loaded, rules = records.load(folder), policy.read(folder)
    made = run.find(NAME)(loaded, rules, seed=0)
    assert [section.defect for section in made.sections if section.defect] == []
    return made


def section(made, key):
    return next(one for one in made.sections if one.key == key)


@pytest.fixture(scope="module")
def of_demo(invented_records):
    return run.find(NAME)(invented_records, policy.read(), seed=0)


def test_the_demo_has_its_report_and_no_follow_up_sheet(demo_folder):
    written = sorted(path.name for path in (demo_folder / "reports").glob(f"{NAME}*.html"))
    assert written == [f"{NAME}-appendix.html", f"{NAME}.html"]


def test_rules_kept_too_rarely_are_one_finding_without_names(of_demo, invented_records):
    findings = section(of_demo, "conferences").findings
    assert [finding.concern for finding in findings] == [Concern.MENTORING]
    said = " ".join([findings[0].what, findings[0].how_sure, findings[0].action])
    placed = invented_records.placements
    for column in ("candidate", "mentor", "supervisor", "site"):
        assert not any(str(name) in said for name in placed[column].dropna().unique())


def test_no_table_lists_a_person(of_demo, invented_records):
    placed = invented_records.placements
    people = set(placed["candidate"]) | set(placed["mentor"]) | set(placed["supervisor"])
    for table in (table for one in of_demo.sections for table in one.tables):
        for column in table.of(Kind.GROUP, Kind.TEXT):
            assert not people & set(table.data[column.name].astype(str)), table.key


def test_a_missing_record_removes_its_section_and_is_named(of_demo):
    watched = section(of_demo, "modelled-lessons")
    assert not watched.assessed
    assert watched.needs == "observations with the purpose mentor_teaches"
    assert watched.tables == ()


def test_a_small_programme_and_one_placement_have_whole_reports(tmp_path):
    any_programme.write_small(tmp_path)
    assert len(section(analysed(tmp_path), "conferences").tables) == 3
    assert cli.main(["report", NAME, str(tmp_path), "--date", "2026-09-01"]) == 0


def test_one_lesson_of_one_placement(tmp_path):
    any_programme.write_small(tmp_path)
    for name in ("placements", "observations"):
        pd.read_csv(tmp_path / f"{name}.csv", dtype=str).head(1).to_csv(tmp_path / f"{name}.csv", index=False)
    made = analysed(tmp_path)
    rules = run.policy.read(tmp_path)
    written = run.write(made, rules, tmp_path / "reports", [run.form(name) for name in run.FORMS])
    assert not written.failed


def visits_section(rows, rules):
    """The section on visits for shares within rules, as (rule, kept, cases)."""
    cases = pd.DataFrame(
        [
            {"rule": rule, "site": "Alder", "candidate": f"c{i}", "kept": i < kept}
            for rule, kept, n in rows
            for i in range(n)
        ],
        columns=["rule", "site", "candidate", "kept"],
    )
    spans = pd.DataFrame(index=pd.Index([], name="quantity"), columns=list(conferences.SPAN_COLUMNS))
    shares = [exact_shares(cases, by).reset_index() for by in (["rule"], ["rule", "site"])]
    return part.section(conferences.Conferences("any", 9, *shares, spans), rules)


@pytest.mark.parametrize(
    ("rows", "verdict", "said"),
    [
        ([("visit_minutes", 100, 100)], "met", "none was kept"),
        ([("visit_minutes", 9, 10)], "undecided", "none was kept"),
        (
            [("visit_minutes", 50, 100), ("first_visit", 100, 100)],
            "not met",
            "Of 2 rules that could be checked, 1 was kept",
        ),
        ([("visit_minutes", 5, 100), ("first_visit", 9, 100)], "not met", "2 were kept"),
        ([], "not assessed", "does not let any rule be checked"),
    ],
)
def test_the_verdict_rests_on_the_interval_and_nothing_checked_is_not_met_nor_missed(rows, verdict, said):
    made = visits_section(rows, policy.read())
    assert made.verdict == verdict
    assert said in made.answer
    assert bool(made.findings) == (verdict == "not met")


def test_lessons_to_watch_read_as_sentences_and_list_sites_in_the_order_of_their_names(tmp_path):
    any_programme.write_small(tmp_path)
    lessons = pd.read_csv(tmp_path / "observations.csv", dtype=str)
    watched = lessons[lessons["placement"].isin(["p00", "p04", "p08"])].assign(
        purpose="mentor_teaches", debrief_date=lambda rows: rows["date"]
    )
    watched["observation"] = "w" + watched["observation"]
    pd.concat([lessons, watched]).to_csv(tmp_path / "observations.csv", index=False)
    made = section(analysed(tmp_path), "modelled-lessons")
    assert made.answer.startswith("Mentors taught 12 lessons for candidates to watch. Of all placements, 15")
    placed, thirds = (table.data for table in made.tables)
    assert placed["site"].tolist() == ["All sites", "Alder", "Birch", "Cedar"]
    assert placed["n_units"].tolist() == [20, 7, 7, 6]
    assert thirds["n_lessons"].sum() == 12
