"""Section on calls: sizes with intervals, and raters of few candidates; and parts of a page."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy as policies
from mentorstats.calibration import talks
from mentorstats.calibration.follow_up import FAMILIES, MARKS, Talks
from mentorstats.report.calibration import follow_up as section_of
from mentorstats.report.model import Provenance, Report, Section, Table, part
from mentorstats.report.render import page
from mentorstats.report.small_groups import raters_of_enough


def raters(*, few: int) -> pd.DataFrame:
    """Give twelve raters of whom the first two rate half a level lower; the second saw few candidates."""
    contrast = np.array([-0.5, -0.6, *np.linspace(-0.05, 0.05, 10)])
    table = pd.DataFrame({"rater": [f"r{i:02}" for i in range(12)], "contrast": contrast})
    table = table.assign(
        rater_role="mentor", n_candidates=12, n_lessons=30, contrast_se=0.05, confidence=0.95, status="ok"
    )
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


def test_raters_under_the_minimum_of_the_page_are_counted_without_codes(shipped) -> None:
    strict = policies.Policy(
        tuple(replace(r, value=10) if r.id == "minimum_group_size" else r for r in shipped.rules)
    )
    table = section_of.section(talks({"severity": raters(few=9)}, strict), strict).tables[0]
    assert table.data["rater"].tolist() == ["r00"]
    assert "not listed: 1 rater of fewer than 10 candidates (severity: 1)" in table.note
    assert "r01" not in table.note


def test_raters_with_too_little_to_be_judged_are_counted_without_codes(shipped) -> None:
    made = section_of.section(talks({"severity": raters(few=2)}, shipped), shipped)
    marks, families = made.tables
    assert marks.data["rater"].tolist() == ["r00"]
    assert families.data.iloc[0][["n_raters", "n_no_call", "n_too_few", "n_marked"]].tolist() == [11, 1, 1, 1]
    assert "r01" not in f"{made.answer} {marks.note} {families.note}"


def nobody(judged=12):
    families = [("severity", "supervisor", judged, 1, 0, 0, 0.04, 0.1)]
    return Talks(pd.DataFrame(columns=MARKS), pd.DataFrame(families, columns=FAMILIES), {}, {})


def test_nobody_marked_and_nobody_judged_are_said() -> None:
    assert section_of.section(nobody(), policies.read()).answer.startswith("Nobody is marked")
    section = section_of.section(nobody(judged=0), policies.read())
    assert section.status == "not_identified"
    assert not section.tables


def test_raters_of_few_candidates_are_counted_below_the_table() -> None:
    data = pd.DataFrame({"rater": ["a", "b", "c"], "n_candidates": [12, 2, 1], "shift": [0.1, 0.2, 0.3]})
    table = Table(key="k", title="t", data=data, labels={"rater": "Rater", "shift": "Shift"})
    left = raters_of_enough(table, policies.read().rule("minimum_group_size"))
    assert left.data["rater"].tolist() == ["a"]
    assert left.note == "2 raters of fewer than 3 candidates are not listed."
    assert raters_of_enough(left, policies.read().rule("minimum_group_size")) is left


def test_parts_head_their_sections_and_numbers_run_on() -> None:
    sections = [Section(key=key, question=f"Question {key}?", answer="Yes.") for key in "abc"]
    sources = pd.DataFrame(
        columns=["file", "sheet", "table", "sha256", "rows_read", "rows_kept", "rows_set_aside"]
    )
    made = Report(
        name="r",
        title="R",
        period="2026",
        sections=(*part("First", *sections[:2]), *part("Second", sections[2])),
        provenance=Provenance(versions={"mentorstats": "0"}, inputs=sources, seeds={}, rules=()),
    )
    html = page.render(made).decode()
    assert html.count('<p class="part">') == 2
    assert html.index("<h3>First</h3>") < html.index('data-no="2"') < html.index("<h3>Second</h3>")
    assert '<span class="no">3</span> Question c?' in html
