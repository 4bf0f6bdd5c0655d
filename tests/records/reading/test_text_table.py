"""One file as one table of text."""

import pandas as pd
import pytest

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.text_table import read_table


def test_nothing_is_guessed_and_blank_is_missing(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("code, level ,note\n007,NA,\n1, 3 ,x\n")
    table = read_table(path)
    assert list(table.columns) == ["code", "level", "note"]
    assert table["code"].tolist() == ["007", "1"]
    assert table["level"].tolist() == ["NA", "3"]
    assert table["note"].isna().tolist() == [True, False]
    assert table.index.tolist() == [2, 3]
    assert table.index.name == "row"


def test_the_same_table_comes_from_every_kind_of_file(tmp_path):
    table = pd.DataFrame({"u": ["a", "b"], "level": [1, 3]})
    table.to_csv(tmp_path / "t.csv", index=False)
    table.to_csv(tmp_path / "s.csv", index=False, sep=";")
    table.to_excel(tmp_path / "t.xlsx", index=False)
    table.to_parquet(tmp_path / "t.parquet")
    read = [read_table(tmp_path / name) for name in ("t.csv", "t.xlsx", "t.parquet")]
    read.append(read_table(tmp_path / "s.csv", delimiter=";"))
    for other in read[1:]:
        pd.testing.assert_frame_equal(other, read[0])


def test_sheets_are_named(tmp_path):
    table = pd.DataFrame({"u": ["a"]})
    with pd.ExcelWriter(tmp_path / "t.xlsx") as book:
        table.to_excel(book, sheet_name="one", index=False)
        table.to_excel(book, sheet_name="two", index=False)
    assert read_table(tmp_path / "t.xlsx", sheet="two")["u"].tolist() == ["a"]
    with pytest.raises(SourceFileError, match=r"2 sheets hold records.*one, two"):
        read_table(tmp_path / "t.xlsx")
    with pytest.raises(SourceFileError, match=r"no sheet 'three'.*one, two"):
        read_table(tmp_path / "t.xlsx", sheet="three")


@pytest.mark.parametrize(
    ("text", "message"),
    [("a,b\n1,2\n3\n", "row 3 has 1 cells for 2 headings"), ("a,a\n1,2\n", "headed 'a'")],
)
def test_what_does_not_fit_is_refused(tmp_path, text, message):
    (tmp_path / "t.csv").write_text(text)
    with pytest.raises(SourceFileError, match=message):
        read_table(tmp_path / "t.csv")
