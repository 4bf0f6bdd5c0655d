import hashlib
import os
import stat

import pandas as pd
import pytest

from mentorstats import places, policy
from mentorstats.errors import AnalysisError, ArgumentError
from mentorstats.report import provenance, run
from mentorstats.writing import write_beside, write_table


def test_every_analysis_file_is_found_and_keeps_its_form():
    assert "rater-calibration" in run.names()
    for name in run.names():
        assert callable(run.find(name))
        lines = (places.analyses() / f"{name.replace('-', '_')}.py").read_text().splitlines()
        assert len(lines) <= 150
        assert lines[-1].strip() == "run.script(report)"


def test_an_unknown_analysis_names_those_there_are():
    with pytest.raises(AnalysisError, match=r"no report 'x'.*rater-calibration"):
        run.find("x")


def test_a_page_is_written_whole_and_nothing_is_left_beside_it(tmp_path, make_records):
    analysis = run.find("rater-calibration")
    first = run.run(analysis, make_records(), tmp_path, tmp_path / "out", date="2026-09-01")
    content = [path.read_bytes() for path in first.paths]
    again = run.run(analysis, make_records(), tmp_path, tmp_path / "out", date="2026-09-01")
    assert [path.read_bytes() for path in again.paths] == content
    names = [f"rater-calibration{end}.html" for end in ("", "-appendix", "-follow-up")]
    assert [path.name for path in again.paths] == names
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(names)


def test_the_policy_of_the_folder_is_used(tmp_path, make_records):
    (tmp_path / policy.FILE_NAME).write_text(
        '[[rule]]\nid = "double_scored_share"\nvalue = 0.9\ninequality = ">="\n'
        'unit = "fraction of observed lessons"\n'
        'source = "common practice, no source"\nkind = "guidance"\neffective_from = 2020-01-01\n'
    )
    paths = run.run(run.find("rater-calibration"), make_records(), tmp_path, tmp_path)
    page, appendix = (path.read_text() for path in paths.paths[:2])
    assert "at least 90\N{NO-BREAK SPACE}%" in page
    assert hashlib.sha256((tmp_path / policy.FILE_NAME).read_bytes()).hexdigest()[:12] in appendix
    assert "not met" in page


def test_the_day_is_the_one_asked_for_then_the_environment_then_today(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert provenance.day("2026-09-01") == "2026-09-01"
    assert provenance.day() == "1970-01-02"
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "soon")
    with pytest.raises(ArgumentError, match="SOURCE_DATE_EPOCH"):
        provenance.day()
    with pytest.raises(ArgumentError, match="not a day"):
        provenance.day("tomorrow")


def test_a_place_that_cannot_be_written_is_refused_by_name(tmp_path):
    (tmp_path / "file").write_text("here")
    with pytest.raises(ArgumentError, match=r"file.*cannot be written"):
        write_beside(tmp_path / "file" / "page.html", b"x")


def test_a_file_gets_the_permissions_of_any_new_file(tmp_path):
    path = write_beside(tmp_path / "page.html", b"x")
    plain = tmp_path / "plain"
    plain.touch()
    assert stat.S_IMODE(os.stat(path).st_mode) == stat.S_IMODE(os.stat(plain).st_mode)


def test_tables_are_written_unrounded(tmp_path):
    table = pd.DataFrame({"value": [1 / 3]})
    for name in ("t.csv", "t.parquet"):
        path = write_table(tmp_path / name, table)
        read = pd.read_csv(path) if name.endswith("csv") else pd.read_parquet(path)
        assert read["value"].iloc[0] == 1 / 3
    with pytest.raises(ArgumentError, match="no suffix"):
        write_table(tmp_path / "t.txt", table)
