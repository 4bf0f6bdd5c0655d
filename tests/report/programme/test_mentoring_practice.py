"""The report on mentoring: whole on the demo, on a small programme, and on next to nothing."""

import any_programme
import pandas as pd
import pytest

from mentorstats import cli, policy, records
from mentorstats.report import run
from mentorstats.report.columns import Kind
from mentorstats.report.model import Concern

NAME = "mentoring-practice"


def analysed(folder):
    loaded, rules = records.load(folder), policy.read(folder)
    made = run.find(NAME)(loaded, rules, seed=0)
    assert [section.defect for section in made.sections if section.defect] == []
    return made


def section(made, key):
    return next(part for part in made.sections if part.key == key)


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
    for table in (table for part in of_demo.sections for table in part.tables):
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
