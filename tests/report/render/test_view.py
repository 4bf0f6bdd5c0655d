import math

import pandas as pd

from mentorstats.report.columns import counted, group, statistic, text
from mentorstats.report.model import Table
from mentorstats.report.render.view import view


def shown():
    data = pd.DataFrame(
        {
            "site": ["Moss", None],
            "n": [12, 15],
            "kappa": [0.5, math.nan],
            "kappa_low": [0.25, math.nan],
            "kappa_high": [0.75, math.nan],
            "kappa_status": ["few_clusters", "one_level_used"],
            "words": ["plain", None],
        }
    )
    return view(
        Table(
            key="t",
            title="T",
            data=data,
            columns=(
                group("site", "Site"),
                counted("n", "Candidates", "people"),
                statistic("kappa", "Kappa", "coefficient"),
                text("words", "Words"),
            ),
        )
    )


def test_a_group_without_name_is_said_to_be_not_recorded():
    assert [row[0].text for row in shown().rows] == ["Moss", "not recorded"]


def test_a_statistic_stands_with_its_interval_and_the_letter_of_its_status():
    cell = shown().rows[0][2]
    assert (cell.text, cell.under, cell.mark) == ("0.50", "[0.25, 0.75]", "a")


def test_a_missing_value_gives_its_reason_in_words():
    made = shown()
    assert made.rows[1][2].text == "no value"
    assert made.notes[made.rows[1][2].mark].startswith("Every rating is the same level")


def test_units_stand_in_the_heading():
    assert [(head.unit, head.numeric) for head in shown().head] == [
        ("", False),
        ("", True),
        ("−1 to 1", True),
        ("", False),
    ]


def test_missing_words_are_empty():
    assert shown().rows[1][3].text == ""
