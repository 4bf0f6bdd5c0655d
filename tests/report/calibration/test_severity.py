"""The section on severity: words, small groups, order, and nothing to show."""

import numpy as np
import pytest
from crossed import programme

from mentorstats import policy as policies
from mentorstats.calibration import base_fit, expected_by_chance, linkage, mark, separation
from mentorstats.calibration import severity as of_raters
from mentorstats.report.calibration import severity
from mentorstats.report.render.view import view

RULES = {"q": 0.05, "smallest": 0.10}


def built(long, policy, **more):
    base = base_fit(long)
    table = of_raters(base, networks=linkage(long.assign(level=long["rank"])).raters)
    marked = mark(table, **RULES, **more)
    chance = expected_by_chance(table, **RULES, **more)
    return severity.section(marked, separation(base, table), chance, policy), marked


@pytest.fixture(scope="module")
def found(shipped):
    return built(programme(4, candidates=72), shipped)


@pytest.fixture(scope="module")
def shipped():
    return policies.read()


def cells(table):
    return [cell.text for row in view(table).rows for cell in row]


def test_the_answer_tells_spread_marks_and_chance(found) -> None:
    section, marked = found
    n = int(marked["marked"].sum())
    assert n >= 2
    assert section.answer.startswith("Supervisors differ by a standard deviation of 0.")
    assert "beyond chance (p < 0.001)." in section.answer
    assert (
        f"{n} of 12 raters are marked for a talk; were all raters alike, chance would mark 0.05 on average."
        in (section.answer)
    )


def test_raters_stand_in_the_order_of_their_codes_with_shrunken_shifts(found) -> None:
    section, marked = found
    data = section.tables[1].data
    assert data["rater"].tolist() == sorted(data["rater"])
    assert data["shift"].to_numpy() == pytest.approx(marked["effect_level"].to_numpy())
    assert (data["talk"] == severity.MARKED).sum() == marked["marked"].sum()
    assert data["places"].str.fullmatch(r"\d+ to \d+ of 12").all()
    for table in section.tables:
        assert not {"nan", "no value", "NaN"} & set(cells(table))


def test_it_says_what_it_is_not_for(found) -> None:
    caution = " ".join(found[0].caution)
    for words in ("no ranking", "no sole basis for a decision about a person", "to talk with", "local rules"):
        assert words in caution


def test_raters_of_few_candidates_and_roles_of_few_raters_are_not_listed(strict) -> None:
    long = programme(4, candidates=72)
    few = long["candidate"].isin(long.loc[long["rater"] == "r10", "candidate"].unique()[:9])
    section, marked = built(long[(long["rater"] != "r10") | few], strict)
    assert "r10" not in section.tables[1].data["rater"].tolist()
    assert "1 rater of fewer than 10 candidates is not listed." in section.tables[1].note
    assert ("Marked among them: 1." in section.tables[1].note) == marked.set_index("rater").loc[
        "r10", "marked"
    ]
    small, _ = built(long[long["rater"] < "r06"], strict)
    assert np.isnan(small.tables[0].data["sd_level"]).all()
    assert "standard deviation" not in small.answer


def test_withheld_calls_are_told(shipped) -> None:
    section, _ = built(programme(4, candidates=72), shipped, not_ignorable=["supervisor"])
    assert "Nobody is marked, because no calls are made here (assignment not ignorable)" in section.answer
    assert set(section.tables[1].data["talk"]) == {severity.NO_CALL}


def test_nothing_to_show(shipped) -> None:
    section, _ = built(programme(4).assign(rank=2), shipped)
    assert not section.tables
    assert section.status != "ok"
    assert section.answer.startswith("The ratings do not allow a model of raters: ")
