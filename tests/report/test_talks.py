"""The section that says with whom to talk: sizes with intervals, and raters of few candidates."""

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy as policies
from mentorstats.calibration import talks
from mentorstats.report import talks as section_of


def raters(*, few: int) -> pd.DataFrame:
    """Give twelve raters of whom the first two rate half a level lower; the second saw few candidates."""
    contrast = np.array([-0.5, -0.6, *np.linspace(-0.05, 0.05, 10)])
    table = pd.DataFrame({"rater": [f"r{i:02}" for i in range(12)], "contrast": contrast})
    table = table.assign(rater_role="mentor", n_candidates=12, contrast_se=0.05, confidence=0.95, status="ok")
    table.loc[1, "n_candidates"] = few
    table["contrast_low"], table["contrast_high"] = contrast - 0.1, contrast + 0.1
    table["p"] = np.where(np.abs(contrast) > 0.3, 1e-6, 0.5)
    for end in ("", "_low", "_high"):
        table["contrast_level" + end] = table["contrast" + end]
    return table


@pytest.fixture(scope="module")
def shipped():
    return policies.read()


def test_a_mark_stands_with_its_interval_and_unit(shipped) -> None:
    marks = section_of.section(talks({"severity": raters(few=12)}, shipped), shipped).tables[0].data
    assert marks["rater"].tolist() == ["r00", "r01"]
    assert marks["words"].tolist() == ["rates lower"] * 2
    assert marks["size"].tolist() == ["−0.50 [−0.60, −0.40]", "−0.60 [−0.70, −0.50]"]
    assert marks["unit"].tolist() == ["levels"] * 2


def test_the_answer_counts_marks_by_effect(shipped) -> None:
    made = section_of.section(talks({"severity": raters(few=12)}, shipped), shipped)
    assert made.answer.startswith("2 marks on 2 raters (severity 2); chance alone would make")


def test_raters_of_few_candidates_are_named_without_numbers(shipped) -> None:
    table = section_of.section(talks({"severity": raters(few=9)}, shipped), shipped).tables[0]
    assert table.data["rater"].tolist() == ["r00"]
    assert "raters of fewer than 10 candidates (severity: r01)" in table.note
    assert "0.6" not in table.note
