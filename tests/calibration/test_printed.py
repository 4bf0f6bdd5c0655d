"""What results about raters say of themselves: how many, never who."""

import pandas as pd
import pytest
from crossed import programme
from printed_forms import exists, plain

from mentorstats import calibration, policy
from mentorstats.calibration import adjusted_scores, assignment_check, base_fit, flags, linkage, severity
from mentorstats.estimate import Status


@pytest.fixture(scope="module")
def long():
    drawn = programme(5, candidates=30, raters=6, criteria=2, lessons=2)
    return drawn.assign(level=drawn["rank"])


@pytest.fixture(scope="module")
def base(long):
    return base_fit(long)


def told(result):
    """The text, which names nobody."""
    text = plain(result, people=True)
    exists(text, result, calibration)
    return text


def test_a_base_model(base, long):
    text = told(base)
    assert f"{len(long)} ratings by" in text
    assert "30 candidates, 60 lessons" in text
    assert "status ok" in text


def test_networks(long):
    found = linkage(long)
    text = told(found)
    role, row = next(found.roles.iterrows())
    assert f"{role}: {row['n_raters']:.0f} raters in 1 network, 100 % of them in the largest" in text


def test_assignment(base):
    found = assignment_check(base)
    assert ("no relation beyond chance" in told(found)) == found.ignorable
    withheld = calibration.Assignment(
        found.raters, found.roles.assign(status=Status.ASSIGNMENT_NOT_IGNORABLE.value)
    )
    assert "related beyond chance" in told(withheld)
    unknown = calibration.Assignment(found.raters, found.roles.assign(status=Status.ONE_RATER.value))
    assert "not assessed (one_rater)" in told(unknown)


def test_adjusted_scores(base):
    found = adjusted_scores(base)
    n = len(found.scores)
    assert f"{n} scores of candidates in cohorts and versions, {n} with an adjusted value" in told(found)
    none = calibration.Adjusted(
        found.scores.assign(adjusted=float("nan"), status_note="Withheld."), found.summary
    )
    assert "Note: Withheld." in told(none)


def test_flags(base, long):
    table = severity(base, networks=linkage(long).raters)
    found = flags({"severity": table}, policy.read())
    people = found.flagged.drop_duplicates(["rater", "rater_role"])
    text = told(found)
    assert f"{len(found.flagged)} flag" in text
    assert f"on {len(people)} rater" in text
    assert "may still be wrong" in text
    assert "No flags" not in text
    assert not any(code in text.split() for code in pd.unique(table["rater"].astype(str)))
