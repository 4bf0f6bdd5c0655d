"""Models of rows read in chunks from Parquet: the same as of the frame that was written."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from engine import linear

from mentorstats.errors import SourceFileError
from mentorstats.mixed.design.chunks import parquet_chunks, read_products
from mentorstats.mixed.design.crossproducts import cross_products
from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.design.scan import rows, survey
from mentorstats.mixed.design.terms import by

DECLARED = Declared(
    "score",
    ("week", "cohort"),
    (by("candidate", slope="week"), by("rater"), by("rater", "criterion"), by("candidate", within="role")),
    "linear",
    weights="w",
)
EXACT = 1e-12


def ratings(n=900, seed=3):
    rng = np.random.default_rng(seed)
    made = pd.DataFrame(
        {
            "candidate": rng.integers(0, 40, n),
            "rater": rng.integers(100, 125, n),
            "criterion": rng.choice(["plan", "teach", "reflect"], n),
            "role": rng.choice(["mentor", "supervisor"], n),
            "cohort": rng.choice(["2023", "2024", "2025"], n),
            "week": rng.integers(1, 12, n),
            "w": rng.choice([1.0, 0.5], n),
            "unread": "x",
        }
    )
    return made.assign(score=rng.normal(size=n) + made["candidate"] / 40 + 0.1 * made["week"])


def of_frame(frame, declared=DECLARED):
    found = survey(lambda: [frame], declared)
    sizes = tuple((member.m, member.k) for member in found.layout.members)
    return found, cross_products(rows(frame, found), sizes, shift=found.mean, scale=found.sd)


def of_file(path, declared=DECLARED, size=250):
    chunks = parquet_chunks(path, declared.used, rows=size)
    found = survey(chunks, declared)
    return found, read_products(chunks, found)


def assert_same(ours, theirs):
    (found, products), (other, expected) = ours, theirs
    assert found.layout.names == other.layout.names
    assert (found.n, found.left_out) == (other.n, other.left_out)
    assert [m.labels() for m in found.layout.members] == [m.labels() for m in other.layout.members]
    assert (products.n, products.left_out, products.sizes) == (expected.n, expected.left_out, expected.sizes)
    close = {"rtol": EXACT, "atol": EXACT * expected.n}
    np.testing.assert_allclose(products.fixed, expected.fixed, **close)
    np.testing.assert_allclose(products.random_fixed, expected.random_fixed, **close)
    assert products.log_weights == pytest.approx(expected.log_weights)
    for t in range(len(products.sizes)):
        np.testing.assert_array_equal(products.counts[t], expected.counts[t])
        np.testing.assert_allclose(products.within[t], expected.within[t], **close)
    for pair, (left, right, blocks) in products.between.items():
        np.testing.assert_array_equal(left, expected.between[pair][0])
        np.testing.assert_array_equal(right, expected.between[pair][1])
        np.testing.assert_allclose(blocks, expected.between[pair][2], **close)


@pytest.mark.parametrize("size", [7, 250, 5000])
def test_a_file_equals_its_frame(tmp_path, size):
    frame = ratings()
    frame.to_parquet(tmp_path / "a.parquet")
    assert_same(of_file(tmp_path / "a.parquet", size=size), of_frame(frame))


def test_several_files_in_folders_equal_their_frame(tmp_path):
    frame = ratings()
    (tmp_path / "2024").mkdir()
    frame.iloc[:300].to_parquet(tmp_path / "2024" / "a.parquet")
    frame.iloc[300:310].to_parquet(tmp_path / "b.parquet")
    frame.iloc[310:].to_parquet(tmp_path / "c.parquet")
    (tmp_path / "notes.txt").write_text("not a table")
    assert_same(of_file(tmp_path), of_frame(frame))


@pytest.mark.parametrize("kind", ["string", "category", "Int64", "object", "float32"])
def test_kinds_of_columns_give_the_same_answer(tmp_path, kind):
    frame = ratings()
    turned = {
        "string": {"candidate": "string", "rater": "string"},
        "category": dict.fromkeys(("candidate", "rater", "criterion", "role", "cohort"), "category"),
        "Int64": {"candidate": "Int64", "rater": "Int64", "week": "Int64"},
        "object": {"criterion": object, "cohort": object},
        "float32": {"week": "float32"},
    }[kind]
    frame.astype(turned).to_parquet(tmp_path / "a.parquet")
    found, products = of_file(tmp_path / "a.parquet")
    if kind == "string":  # codes sort as text, so members stand in another order
        frame = frame.astype({"candidate": "string", "rater": "string"})
    assert_same((found, products), of_frame(frame))


def test_dictionaries_that_differ_between_files_do_not_matter(tmp_path):
    frame = ratings()
    for i, part in enumerate((frame.iloc[:5], frame.iloc[5:400], frame.iloc[400:])):
        columns = {
            name: pa.array(part[name].astype(str)).dictionary_encode() for name in ("criterion", "cohort")
        }
        columns |= {name: part[name] for name in DECLARED.used if name not in columns}
        pq.write_table(pa.table(columns), tmp_path / f"{i}.parquet")
    assert_same(of_file(tmp_path), of_frame(frame))


def test_categories_keep_their_order(tmp_path):
    frame = ratings().assign(cohort=lambda x: pd.Categorical(x["cohort"], ["2025", "2023", "2024"]))
    frame.to_parquet(tmp_path / "a.parquet")
    found, _ = of_file(tmp_path / "a.parquet", size=100)
    assert found.layout.names == ["intercept", "week", "cohort: 2023", "cohort: 2024"]


@pytest.mark.parametrize("name", ["score", "candidate", "week", "criterion", "w"])
def test_missing_values_are_counted(tmp_path, name):
    frame = ratings()
    holed = frame.copy()
    holed.loc[[0, 1, 260, 899], name] = None
    holed.to_parquet(tmp_path / "a.parquet")
    found, products = of_file(tmp_path / "a.parquet")
    assert found.left_out == products.left_out == 4
    assert_same((found, products), of_frame(holed))
    kept = of_frame(frame.drop(index=[0, 1, 260, 899]))[1]
    np.testing.assert_allclose(products.fixed, kept.fixed, atol=1e-9)


def test_a_file_in_which_a_column_is_empty_counts_as_missing(tmp_path):
    frame = ratings()
    frame.iloc[:300].assign(week=None, rater=None).to_parquet(tmp_path / "a.parquet")
    frame.iloc[300:].to_parquet(tmp_path / "b.parquet")
    found, products = of_file(tmp_path)
    assert found.left_out == 300
    np.testing.assert_allclose(products.fixed, of_frame(frame.iloc[300:])[1].fixed, atol=1e-9)


def test_long_codes_beside_missing_ones_stay_apart(tmp_path):
    codes = pd.array([2**60 + 1, 2**60 + 2, None, 2**60 + 1], dtype="Int64")
    pd.DataFrame({"candidate": codes, "score": [1.0, 2.0, 3.0, 4.0]}).to_parquet(tmp_path / "a.parquet")
    found, _ = of_file(tmp_path / "a.parquet", Declared("score", (), (by("candidate"),), "linear"))
    assert found.layout.members[0].labels() == [str(2**60 + 1), str(2**60 + 2)]


def test_whole_numbers_beside_fractions_are_fractions(tmp_path):
    frame = ratings()
    frame.iloc[:300].to_parquet(tmp_path / "a.parquet")
    frame.iloc[300:].astype({"week": float}).to_parquet(tmp_path / "b.parquet")
    assert_same(of_file(tmp_path), of_frame(frame))


def test_the_fit_is_that_of_the_frame(tmp_path):
    frame = ratings()
    declared = Declared("score", ("week",), (by("candidate"), by("rater")), "linear")
    frame.to_parquet(tmp_path / "a.parquet")
    parts = list(parquet_chunks(tmp_path / "a.parquet", declared.used, rows=100)())
    assert [len(part) for part in parts] == [100] * 9
    assert [part.index[0] for part in parts] == list(range(0, 900, 100))
    assert list(parts[0]) == declared.used
    ours, _ = linear(pd.concat(parts), "score", ["week"], declared.grouped)
    theirs, _ = linear(frame, "score", ["week"], declared.grouped)
    assert ours.log_likelihood == theirs.log_likelihood


def test_a_file_without_rows_gives_one_empty_frame(tmp_path):
    ratings().head(0).to_parquet(tmp_path / "a.parquet")
    (frame,) = parquet_chunks(tmp_path / "a.parquet", ["score", "week"])()
    assert len(frame) == 0
    assert list(frame) == ["score", "week"]


def test_a_missing_column_names_file_column_and_those_there_are(tmp_path):
    ratings().to_parquet(tmp_path / "a.parquet")
    ratings().drop(columns="rater").to_parquet(tmp_path / "b.parquet")
    with pytest.raises(SourceFileError, match=r"b\.parquet.*'rater'.*Allowed: candidate, criterion"):
        parquet_chunks(tmp_path, DECLARED.used)


def test_files_that_do_not_fit_together_are_refused(tmp_path):
    ratings().to_parquet(tmp_path / "a.parquet")
    ratings().astype({"rater": str}).to_parquet(tmp_path / "b.parquet")
    with pytest.raises(SourceFileError, match=r"b\.parquet.*rater.*same way"):
        parquet_chunks(tmp_path, DECLARED.used)


def test_what_cannot_be_read_is_named(tmp_path):
    with pytest.raises(SourceFileError, match=r"none\.parquet: there is no such file"):
        parquet_chunks(tmp_path / "none.parquet", ["score"])
    with pytest.raises(SourceFileError, match="holds no file"):
        parquet_chunks(tmp_path, ["score"])
    (tmp_path / "a.parquet").write_text("score\n1\n")
    with pytest.raises(SourceFileError, match=r"a\.parquet: is not a readable Parquet file"):
        parquet_chunks(tmp_path, ["score"])


def test_a_damaged_page_is_named_while_reading(tmp_path):
    path = tmp_path / "a.parquet"
    ratings().to_parquet(path)
    held = bytearray(path.read_bytes())
    held[4:400] = b"\xff" * 396
    path.write_bytes(held)
    with pytest.raises(SourceFileError, match=r"a\.parquet"):
        list(parquet_chunks(path, ["candidate"])())
