"""The section on calls, rows of raters with few candidates, and parts of a page."""

import pandas as pd

from mentorstats import policy
from mentorstats.calibration.talks import FAMILIES, MARKS, Talks
from mentorstats.report import page, talks
from mentorstats.report.model import Provenance, Report, Section, Table, part
from mentorstats.report.small_groups import raters_of_enough


def found(marks, judged=12):
    rows = [(*row, 0.5, 0.2, 0.8, 0.01) for row in marks]
    families = [("severity", "supervisor", judged, 1, len(marks), 0.04, 0.1)]
    return Talks(pd.DataFrame(rows, columns=MARKS), pd.DataFrame(families, columns=FAMILIES), {}, {})


ONE = ("s01", "supervisor", 14, "severity", "rates higher")
OTHER = ("m07", "mentor", 2, "halo", "rates the criteria of a lesson alike")


def test_marks_stand_beside_what_chance_would_make() -> None:
    section = talks.section(found([ONE, OTHER]), policy.read())
    assert section.answer.startswith("2 marks on 2 raters; chance alone would make 0.0 marks")
    assert any("no sole basis" in " ".join(text.split()) for text in section.caution)
    marks = section.tables[0].data.set_index("rater")
    assert marks.loc["s01", "value"] == 0.5
    assert pd.isna(marks.loc["m07", "value"])
    assert not marks.loc["m07", "words"]
    assert "fewer than 10 people" in section.tables[0].note


def test_nobody_marked_and_nobody_judged_are_said() -> None:
    assert talks.section(found([]), policy.read()).answer.startswith("Nobody is marked")
    section = talks.section(found([], judged=0), policy.read())
    assert section.status == "not_identified"
    assert not section.tables


def test_raters_of_few_candidates_are_counted_below_the_table() -> None:
    data = pd.DataFrame({"rater": ["a", "b", "c"], "n_candidates": [12, 9, 2], "shift": [0.1, 0.2, 0.3]})
    table = Table(key="k", title="t", data=data, labels={"rater": "Rater", "shift": "Shift"})
    left = raters_of_enough(table, policy.read().rule("minimum_group_size"))
    assert left.data["rater"].tolist() == ["a"]
    assert left.note == "2 raters of fewer than 10 candidates are not listed."
    assert raters_of_enough(left, policy.read().rule("minimum_group_size")) is left


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
