"""The descriptors are legal Table Schema, and say what the code acts on."""

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import frictionless
import pytest

from mentorstats import dictionary, places
from mentorstats.errors import DictionaryError

TABLES = dictionary.tables()
ROOT = Path(__file__).parent.parent
DESIGN = {
    "placements": "placement candidate mentor supervisor site cohort licensure_area grade_band "
    "start end status",
    "observations": "observation placement date minutes purpose visit_mode pre_conference debrief_date "
    "debrief_minutes strengths_noted improvements_noted",
    "ratings": "observation rater rater_role rubric rubric_version criterion level independent",
    "rubrics": "rubric version criterion level rank label weight",
    "raters": "rater role trained_on certified_on expires_on",
    "key_ratings": "rater recording criterion level key_level date",
    "teaching_load": "placement week planned_share actual_share teaching_mode",
    "questions": "observation thinking_level count supported",
    "coteaching": "observation arrangement minutes",
    "tutoring": "pupil placement subject before after sessions minutes group_size comparison",
    "orientation": "placement item due done",
}


def path(name):
    return places.data_dictionary() / f"{name}.json"


@pytest.mark.parametrize("name", TABLES)
def test_a_descriptor_is_legal_table_schema(name):
    descriptor = json.loads(path(name).read_text(encoding="utf-8"))
    assert [error.note for error in frictionless.Schema.metadata_validate(descriptor)] == []
    schema = frictionless.Schema.from_descriptor(descriptor)
    assert tuple(schema.field_names) == dictionary.table(name).names


@pytest.mark.parametrize("name", TABLES)
def test_categories_are_legal(name):
    """What frictionless does not check: unique values and labels, and an order only where there is a list."""
    for field in json.loads(path(name).read_text(encoding="utf-8"))["fields"]:
        categories = field.get("categories")
        if categories is None:
            assert "categoriesOrdered" not in field
            continue
        assert field["type"] in ("string", "integer")
        values, labels = ([part[key] for part in categories] for key in ("value", "label"))
        assert len(set(values)) == len(values) == len(set(labels))
        assert not set(values) & {part["value"] for part in field.get("missingValues", ())}
        assert isinstance(field.get("categoriesOrdered", False), bool)


def test_an_illegal_descriptor_is_caught_by_the_oracle():
    descriptor = json.loads(path("raters").read_text(encoding="utf-8"))
    descriptor["fields"][0]["constraints"] = {"required": "perhaps"}
    assert list(frictionless.Schema.metadata_validate(descriptor))


@pytest.mark.parametrize("name", TABLES)
def test_every_table_holds_what_the_design_asks_for(name):
    assert set(DESIGN[name].split()) <= set(dictionary.table(name).names)


def test_tables_stand_in_the_same_order_in_every_run():
    asked = [sys.executable, "-c", "from mentorstats import dictionary; print(dictionary.tables())"]
    for seed in ("0", "1", "2"):
        told = {**os.environ, "PYTHONHASHSEED": seed}
        said = subprocess.run(asked, capture_output=True, text=True, check=True, env=told, cwd=ROOT).stdout
        assert said == f"{TABLES}\n"


def test_parents_come_before_children():
    for number, name in enumerate(TABLES):
        assert {key.table for key in dictionary.table(name).foreign_keys} <= set(TABLES[:number])


def test_every_field_says_what_it_is():
    for name in TABLES:
        table = dictionary.table(name)
        titles = [field.title for field in table.fields]
        assert len(set(titles)) == len(titles)
        for field in table.fields:
            assert field.description.endswith(".")
            assert field.name not in field.synonyms
            if field.type == "integer" and field.name != "rank":
                assert field.unit


def test_the_four_reasons_for_no_level_are_told_once():
    table = dictionary.table("ratings")
    reasons = table.field("missing_reason").categories
    assert list(reasons) == ["not_observed", "not_applicable", "not_scored", "withheld"]
    assert {"", *reasons} == set(table.field("level").missing)


def test_the_invented_rubric_keeps_to_its_table():
    with (places.data_dictionary() / "rubric.csv").open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert tuple(rows[0]) == dictionary.table("rubrics").names
    versions = {
        version: {row["criterion"]: row["title"] for row in rows if row["version"] == version}
        for version in "12"
    }
    assert [len(criteria) for criteria in versions.values()] == [8, 8]
    kept = set(versions["1"]) & set(versions["2"])
    assert len(kept) == 7
    assert sum(versions["1"][code] != versions["2"][code] for code in kept) == 1
    for version, criteria in versions.items():
        for code in criteria:
            own = [row for row in rows if row["version"] == version and row["criterion"] == code]
            assert [row["level"] for row in own] == ["support", "part", "reliable", "adapts"]
            assert [row["rank"] for row in own] == ["1", "2", "3", "4"]


def test_a_table_knows_which_fields_hold_levels_of_a_rubric():
    assert dictionary.table("ratings").levels == ("level",)
    assert dictionary.table("key_ratings").levels == ("level", "key_level")
    assert dictionary.table("placements").levels == ()


def test_an_unknown_table_and_field_are_named():
    with pytest.raises(DictionaryError, match=r"no table 'rating'.*ratings"):
        dictionary.table("rating")
    with pytest.raises(DictionaryError, match=r"no field 'score'.*level"):
        dictionary.table("ratings").field("score")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: d.update(colour="red"), "unknown key colour"),
        (lambda d: d["fields"][0].update(widgets=1), "unknown key widgets"),
        (lambda d: d["fields"][0].update(type="geopoint"), "type 'geopoint' is not read"),
        (lambda d: d["fields"][0]["constraints"].update(minLength=3), "unknown key minLength"),
        (lambda d: d["fields"][0].update(categoriesOrdered=True), "categoriesOrdered without categories"),
        (lambda d: d.update(primaryKey=["ratter"]), "a key names ratter"),
        (lambda d: d.update({"$schema": "x"}), "name is wrong"),
        (
            lambda d: d.update(
                foreignKeys=[
                    {"fields": ["rater"], "reference": {"resource": "a", "fields": ["b"]}, "effect": "shrug"}
                ]
            ),
            "effect 'shrug'",
        ),
    ],
)
def test_a_descriptor_that_would_not_be_acted_on_is_refused(tmp_path, change, message):
    descriptor = json.loads(path("raters").read_text(encoding="utf-8"))
    change(descriptor)
    (tmp_path / "raters.json").write_text(json.dumps(descriptor), encoding="utf-8")
    with pytest.raises(DictionaryError, match=message):
        dictionary.read(tmp_path / "raters.json")


def test_a_broken_descriptor_is_refused(tmp_path):
    (tmp_path / "raters.json").write_text("{", encoding="utf-8")
    with pytest.raises(DictionaryError, match="not legal JSON"):
        dictionary.read(tmp_path / "raters.json")


def test_reading_the_dictionary_loads_nothing_heavy():
    code = (
        "import sys; from mentorstats import dictionary; dictionary.table('ratings'); "
        "print([m for m in ('numpy', 'pandas', 'pyarrow') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
