"""Which raters need follow-up: counts with what chance would do, and the sheet with sizes and intervals."""

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy as policies
from mentorstats.calibration import flags
from mentorstats.calibration.follow_up import FAMILIES, FLAGGED, Flags
from mentorstats.report.calibration import follow_up


def raters(*, few=12, lessons=12) -> pd.DataFrame:
    """Give twelve raters of whom the first two rate half a level lower; the second saw few candidates."""
    contrast = np.array([-0.5, -0.6, *np.linspace(-0.05, 0.05, 10)])
    table = pd.DataFrame({"rater": [f"r{i:02}" for i in range(12)], "contrast": contrast})
    table = table.assign(rater_role="mentor", n_candidates=12, contrast_se=0.05, confidence=0.95, status="ok")
    table["n_lessons"] = lessons
    table.loc[1, "n_candidates"] = few
    table["contrast_low"], table["contrast_high"] = contrast - 0.1, contrast + 0.1
    table["p"] = np.where(np.abs(contrast) > 0.3, 1e-6, 0.5)
    for end in ("", "_low", "_high"):
        table["contrast_level" + end] = table["contrast" + end]
    return table


@pytest.fixture(scope="module")
def rules():
    return policies.read()


def test_the_answer_counts_and_never_leaves_chance_alone(rules) -> None:
    section = follow_up.section(flags({"severity": raters()}, rules), rules)
    assert section.answer == "2 of 12 raters assessed are flagged for a calibration conversation."
    assert (
        "would be expected by chance; of those flagged, about 1 in 20 may still be wrong" in section.detail[0]
    )
    (finding,) = section.findings
    assert finding.what == "2 of 12 raters assessed are flagged, mostly for severity."
    assert "may still be wrong" in finding.how_sure
    assert "r00" not in finding.what + finding.how_sure + finding.action + finding.concerns


def test_the_page_names_nobody(rules) -> None:
    section = follow_up.section(flags({"severity": raters()}, rules), rules)
    for table in section.tables:
        assert "rater" not in table.data


def test_the_sheet_has_direction_size_interval_and_what_it_rests_on(rules) -> None:
    sheet = follow_up.sheet(flags({"severity": raters()}, rules), rules)
    table = sheet.tables[0]
    assert table.people
    assert table.data["rater"].tolist() == ["r00", "r01"]
    assert set(table.data["words"]) == {"rates lower than others of the role"}
    assert table.data["size"].tolist() == [-0.5, -0.6]
    assert table.data["size_low"].tolist() == pytest.approx([-0.6, -0.7])
    assert table.data["n_candidates"].tolist() == [12, 12]
    assert "To look at: lessons that this rater and others rated" in table.note


def test_a_flag_that_can_produce_another_is_looked_at_first(rules) -> None:
    drift = raters().assign(contrast=lambda t: t["contrast"])
    sheet = follow_up.sheet(flags({"severity": raters(), "drift over weeks": drift}, rules), rules)
    of_severity = next(table for table in sheet.tables if table.title.startswith("Flagged for severity"))
    assert set(of_severity.data["first"]) == {"drift over weeks"}
    of_drift = next(table for table in sheet.tables if table.title.startswith("Flagged for drift"))
    assert set(of_drift.data["first"]) == {""}


def test_few_candidates_or_lessons_are_counted_and_not_named(rules) -> None:
    found = flags({"severity": raters(few=2)}, rules)
    section = follow_up.section(found, rules)
    assert section.answer.endswith("1 rater was not assessed.")
    assert found.flagged["rater"].tolist() == ["r00"]
    none = flags({"severity": raters(lessons=5)}, rules)
    assert none.flagged.empty
    assert follow_up.section(none, rules).status == "not_identified"


def nobody(judged=12):
    families = [("severity", "supervisor", judged, 1, 0, 0.04, 0.1)]
    return Flags(pd.DataFrame(columns=FLAGGED), pd.DataFrame(families, columns=FAMILIES), {}, {})


def test_nobody_flagged_and_nobody_assessed_are_said(rules) -> None:
    section = follow_up.section(nobody(), rules)
    assert section.answer == "No rater is flagged, of 12 assessed. 1 rater was not assessed."
    assert not section.findings
    section = follow_up.section(nobody(judged=0), rules)
    assert section.status == "not_identified"
    assert not section.tables


def test_the_sheet_says_since_when(rules) -> None:
    days = pd.DataFrame({"rater": ["r00", "r00", "r01"], "rater_role": "mentor"})
    days["date"] = ["2025-01-09", "2025-03-04", "2025-02-02"]
    tables = follow_up.sheet(flags({"severity": raters()}, rules, ratings=days), rules).tables
    assert tables[0].data["span"].tolist() == ["2025-01-09, 2025-03-04", "2025-02-02"]
    undated = follow_up.sheet(flags({"severity": raters()}, rules), rules).tables
    assert set(undated[0].data["span"]) == {"no dates"}
