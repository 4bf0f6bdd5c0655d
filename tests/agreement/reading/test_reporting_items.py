"""Fifteen items, each filled from the records, from study.toml, or shown as a gap."""

import re
import tomllib

import pandas as pd
import pytest

from mentorstats import demo, places
from mentorstats.agreement import coefficients, double_scored, reporting_items, stacked
from mentorstats.declared import study
from mentorstats.errors import ColumnError, SourceFileError
from mentorstats.records.long import long as long_table
from mentorstats.sources import SOURCES

COLUMNS = set(
    tomllib.loads(
        (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    )
)


@pytest.fixture(scope="module")
def invented():
    return demo.programme()


@pytest.fixture(scope="module")
def long(invented):
    table = invented.ratings.assign(file="", sheet="", row=0)
    return long_table(table, invented.observations, invented.placements, invented.rubrics)


@pytest.fixture(scope="module")
def found(long):
    pairs = stacked(double_scored(long))
    return coefficients(pairs, unit="pair", rater="side", level="level", cluster="candidate")


def test_gaps_are_shown(found):
    table = reporting_items(found)
    assert len(table) == 15
    assert set(table.columns) <= COLUMNS
    assert set(table["reference"]) <= set(SOURCES)
    assert table["prompt"].str.len().min() > 0
    assert table.index[table["filled"] == "data"].tolist() == ["statistics", "numbers_reached", "estimates"]
    missing = table[table["filled"] == "missing"]
    assert len(missing) == 12
    assert (missing["text"] == "").all()


def test_the_records_fill_what_they_can(found, long, invented):
    table = reporting_items(
        found, long=long, raters=invented.raters, cluster="candidate", detailed="Workbook, sheet Pairs."
    )
    filled = set(table.index[table["filled"] == "data"])
    assert filled == {item.name for item in study.items() if item.from_data}
    text = table["text"]
    assert "hearthside, version 1, 8 criteria" in text["instrument"]
    assert "support, part, reliable, adapts" in text["instrument"]
    dependent = int((~invented.ratings["independent"]).sum())
    assert f"{dependent} as not" in text["independence"]
    assert "cohen_kappa" in text["statistics"]
    assert "clustered by candidate" in text["statistics"]
    assert "Cohen (1960)" in text["statistics"]
    assert f"{found.n_units.iloc[0]} units" in text["numbers_reached"]
    assert f"{long['candidate'].nunique()} candidates" in text["numbers_reached"]
    mentors = invented.ratings.query("rater_role == 'mentor'")["rater"].nunique()
    assert f"mentor {mentors}" in text["who_took_part"]


def test_no_number_is_rounded_into_words(found, long):
    """Estimates stand in their table; the texts hold counts only."""
    text = " ".join(reporting_items(found, long=long)["text"])
    assert not re.search(r"\d\.\d", text)


def test_what_is_given_stands_behind_the_data(found):
    given = {"sampling": "By lot.", "statistics": " Levels are ordered. ", "size_chosen": "  "}
    table = reporting_items(found, given=given)
    assert table.loc["sampling", ["text", "filled"]].tolist() == ["By lot.", "given"]
    assert table.loc["statistics", "filled"] == "data"
    assert table.loc["statistics", "text"].endswith("Levels are ordered.")
    assert table.loc["size_chosen", "filled"] == "missing"


def test_a_table_by_groups(long):
    pairs = stacked(double_scored(long))
    found = coefficients(pairs, unit="pair", rater="side", level="level", cluster="candidate", by="site")
    assert "to" in reporting_items(found).loc["numbers_reached", "text"]


def test_the_file_beside_the_exports(tmp_path):
    assert study.read(tmp_path) == {}
    path = tmp_path / study.FILE_NAME
    path.write_text('sampling = "By lot."\n', encoding="utf-8")
    assert study.read(tmp_path) == {"sampling": "By lot."}
    for text, message in (
        ('samplin = "x"', "Did you mean 'sampling'"),
        ("sampling = 3", "sampling = 3 is no text"),
        ("sampling", "not legal TOML"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(SourceFileError, match=message):
            study.read(tmp_path)


def test_the_readme_shows_items_that_are_there():
    text = (places.data_dictionary() / "README.md").read_text(encoding="utf-8")
    shown = text.split("## Your study")[1].split("```toml\n")[1].split("```")[0]
    assert study.checked(tomllib.loads(shown), where="README.md")


def test_bad_input_is_refused(found):
    with pytest.raises(SourceFileError, match="no reporting item"):
        reporting_items(found, given={"colour": "red"})
    with pytest.raises(ColumnError, match="no column 'low'"):
        reporting_items(pd.DataFrame({"value": [1.0]}))
