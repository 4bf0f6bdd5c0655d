"""Whatever the form or the order of rows, the same ratings come out; and stored ones come back."""

import random

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import mentorstats as ms
from mentorstats.records import reload

SETTINGS = settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
LEVELS = ("support", "part", "reliable", "adapts")
REASONS = ("not_observed", "not_applicable", "not_scored", "withheld")
CRITERIA = ("k7w2", "m3d9", "p5f4")
SCALE = (
    '[[scale]]\nrubric = "hearthside"\nversion = "1"\nlevels = ["support", "part", "reliable", "adapts"]\n'
    'criteria = ["k7w2", "m3d9", "p5f4"]\n'
)
CONSTANTS = '[source.constants]\nrubric = "hearthside"\nrubric_version = "1"\nrater_role = "other"\n'
KEY = ["observation", "rater", "criterion"]

marks = st.sampled_from((*LEVELS, *REASONS, ""))
names = st.text(st.sampled_from('ab0"\n,;é '), min_size=1, max_size=4).map(str.strip).filter(bool)
forms = st.dictionaries(st.tuples(names, names), st.tuples(*[marks] * len(CRITERIA)), min_size=1, max_size=8)


def load_wide(programme, forms):
    programme.csv(
        "forms.csv", [["lesson", "by", *CRITERIA], *([*key, *levels] for key, levels in forms.items())]
    )
    programme.mapping(
        '[[source]]\nfile = "forms.csv"\ntable = "ratings"\n'
        'columns = { observation = "lesson", rater = "by" }\n'
        + CONSTANTS
        + "[source.criteria]\n"
        + "".join(f'{code} = "{code}"\n' for code in CRITERIA)
        + SCALE
    )
    return programme.load()


def load_long(programme, lines):
    programme.csv("forms.csv", [["lesson", "by", "criterion", "level"], *lines])
    programme.mapping(
        '[[source]]\nfile = "forms.csv"\ntable = "ratings"\n'
        'columns = { observation = "lesson", rater = "by", criterion = "criterion", level = "level" }\n'
        + CONSTANTS
        + SCALE
    )
    return programme.load()


def lines_of(forms):
    return [
        [*key, code, level]
        for key, levels in forms.items()
        for code, level in zip(CRITERIA, levels, strict=True)
    ]


def content(records):
    return records.ratings.drop(columns=["file", "sheet", "row"]).sort_values(KEY, ignore_index=True)


@SETTINGS
@given(forms=forms)
def test_wide_and_long_are_the_same_ratings(programme, forms):
    wide, long = load_wide(programme, forms), load_long(programme, lines_of(forms))
    assert set(wide.problems["rule"]) <= {"no_table"}
    pd.testing.assert_frame_equal(content(wide), content(long))
    expected = {
        (*key, code): (None, level or "not_scored") if level not in LEVELS else (level, None)
        for *key, code, level in lines_of(forms)
    }
    found = wide.ratings.astype(object).where(wide.ratings.notna(), None)
    assert (
        dict(
            zip(
                found[KEY].apply(tuple, axis=1),
                zip(found["level"], found["missing_reason"], strict=True),
                strict=True,
            )
        )
        == expected
    )


@SETTINGS
@given(forms=forms, seed=st.integers(0, 99))
def test_the_order_of_rows_does_not_matter(programme, forms, seed):
    lines = lines_of(forms)
    straight = content(load_long(programme, lines))
    random.Random(seed).shuffle(lines)
    pd.testing.assert_frame_equal(content(load_long(programme, lines)), straight)


@SETTINGS
@given(forms=forms)
def test_stored_ratings_come_back(programme, forms):
    records = load_wide(programme, forms)
    records.save(programme.folder)
    back = reload(programme.folder)
    pd.testing.assert_frame_equal(back.ratings, records.ratings)
    pd.testing.assert_frame_equal(back.problems, records.problems)


@SETTINGS
@given(
    lines=st.lists(
        st.tuples(names, names, st.sampled_from((*CRITERIA, "zz")), st.sampled_from((*LEVELS, "nine", "")))
    )
)
def test_every_row_is_kept_or_has_its_line_in_the_problems(programme, lines):
    records = load_long(programme, lines)
    counts = records.sources.set_index("table").loc["ratings"]
    assert counts["rows_read"] == len(lines)
    assert counts["rows_kept"] + counts["rows_set_aside"] == len(lines)
    aside = records.problems[records.problems["effect"] == "set_aside"]
    kept, out = set(records.ratings["row"]), set(aside["row"])
    assert len(kept) == counts["rows_kept"]
    assert len(out) == counts["rows_set_aside"]
    assert not kept & out
    assert not records.ratings.duplicated(KEY).any()


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_text_of_any_kind_survives_every_format(programme, tmp_path, kind):
    odd = ["NA", "N/A", "null", "None", "nan", "007", "1e5", "1.0", "TRUE", "-", "=1+1", "é", "2026-01-05"]
    programme.tables["placements"] = [
        ["placement", "candidate"],
        *([f"P{i}", text] for i, text in enumerate(odd)),
    ]
    for name in ("observations", "ratings", "rubrics", "raters"):
        del programme.tables[name]
    found = programme.write("csv").load().placements["candidate"].tolist()
    assert found == odd
    if kind == "xlsx":
        programme.tables["placements"] = [row for row in programme.tables["placements"] if row[1] != "=1+1"]
        odd.remove("=1+1")  # a workbook holds it as a formula, and what that shows is not ours to say
    other = type(programme)(tmp_path)
    other.tables = programme.tables
    assert ms.load(other.write(kind).folder).placements["candidate"].tolist() == odd
