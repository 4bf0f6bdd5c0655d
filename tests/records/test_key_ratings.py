"""Ratings of key-scored recordings: both levels are held to the rubric, a later scoring is its own row."""

import pytest

from mentorstats.errors import MappingError

HEAD = ["rater", "recording", "rubric", "rubric_version", "criterion", "level", "key_level", "date"]
ROW = ["S1", "b2c3", "hearthside", "1", "k7w2", "reliable", "part", "2025-08-20"]


def with_rows(programme, *rows):
    programme.tables["key_ratings"] = [HEAD, *(list(row) for row in rows)]
    return programme


def changed(**fields):
    return [fields.get(name, value) for name, value in zip(HEAD, ROW, strict=True)]


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_levels_are_ordered_and_a_gap_keeps_its_row(programme, kind):
    records = with_rows(programme, ROW, changed(criterion="m3d9", level="")).write(kind).load()
    assert records.problems.empty
    found = records.key_ratings
    for name in ("level", "key_level"):
        assert list(found[name].cat.categories) == ["support", "part", "reliable", "adapts"]
        assert found[name].cat.ordered
    assert found["level"].isna().tolist() == [False, True]
    assert str(found["date"].dtype) == "datetime64[us]"


@pytest.mark.parametrize(
    ("change", "column", "rule", "effect"),
    [
        ({"level": "reliabel"}, "level", "declared_level", "set_aside"),
        ({"key_level": "reliabel"}, "key_level", "declared_level", "set_aside"),
        ({"key_level": ""}, "key_level", "required", "set_aside"),
        ({"criterion": "zz"}, "criterion", "declared_criterion", "set_aside"),
        ({"rubric_version": "9"}, "rubric_version", "declared_version", "set_aside"),
        ({"rubric": "x"}, "rubric", "declared_rubric", "set_aside"),
        ({"date": "20.08.2025"}, "date", "type", "set_aside"),
        ({"rater": "X9"}, "rater", "foreign_key", "notice"),
    ],
)
def test_each_fault_is_found_once(programme, change, column, rule, effect):
    found = with_rows(programme, ROW, changed(recording="d4f5", **change)).write().load().problems
    assert found[["file", "row", "column", "rule", "effect"]].to_numpy().tolist() == [
        ["key_ratings.csv", 3, column, rule, effect]
    ]


def test_a_later_scoring_is_no_repeat(programme):
    records = with_rows(programme, ROW, changed(date="2026-08-20"), ROW).write().load()
    assert len(records.key_ratings) == 2
    assert records.problems["rule"].tolist() == ["repeated_row"]


def test_levels_need_a_rubric(programme):
    with_rows(programme, ROW).write()
    for name in ("rubrics", "ratings"):
        (programme.folder / f"{name}.csv").unlink()
    with pytest.raises(MappingError, match="no rubric is declared"):
        programme.load()
