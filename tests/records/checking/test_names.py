"""Names in columns of codes are found, codes are left alone, and no message says a name."""

import pandas as pd
import pytest

from mentorstats.errors import IdentityError
from mentorstats.records.checking import names

NAMES = [
    "Linnet Quill",
    "Quill, Linnet",
    "M. Quill",
    "Quill M.",
    "Dr Quill",
    "Prof. L. Quill",
    "Zoë",
    "Ngũgĩ",
]
NAMES += ["linnet.quill@hearth.example", "Jean-Marie Oak", "O'Moss Fern", "Mentor Linnet Quill"]
CODES = [
    "M012",
    "Mentor A",
    "Supervisor 3",
    "S-4",
    "rater_3",
    "ab12",
    "007",
    "k7w2",
    "A",
    "AB",
    "QX-R",
    "total",
]
CODES += ["Site North 2", "mentor b", "P17 Reed", "9f3c-22aa", "SV-MOSS"]


@pytest.mark.parametrize("value", NAMES)
def test_a_name_is_found(value):
    assert names.looks_like_names([value, "M012", "M013", "M014"]) == 1


@pytest.mark.parametrize("value", CODES)
def test_a_code_is_left_alone(value):
    assert names.looks_like_names([value, "M012", "M013", "M014"]) == 0


def test_single_words_are_names_where_they_are_many():
    assert names.looks_like_names(["Linnet", "Moss", "Fern"]) == 3
    assert names.looks_like_names(["Linnet", "M012", "M013", "M014"]) == 0


def test_the_message_names_file_and_column_and_no_name(programme):
    for row in programme.tables["ratings"][1:]:
        row[1] = {"M1": "Linnet Quill", "S1": "Moss Reed"}[row[1]]
    with pytest.raises(IdentityError, match=r"ratings\.csv, column rater: 2") as caught:
        names.refuse(programme.write().load().tables)
    assert caught.value.exit_code == 1
    assert not {"Linnet", "Quill", "Moss", "Reed"} & set(str(caught.value).replace(",", " ").split())


def test_columns_that_are_no_people_may_hold_names(programme):
    for row in programme.tables["placements"][1:]:
        row[4] = "Linnet Quill School"
    found = names.found(programme.write().load().tables)
    assert isinstance(found, pd.DataFrame)
    assert found.empty
