"""Pictures of raters show the numbers of their tables, raters by code."""

import numpy as np
import pandas as pd
import pytest
from crossed import programme
from drawn import held, labels

from mentorstats import policy
from mentorstats.calibration import (
    adjusted_scores,
    assignment_check,
    base_fit,
    drift,
    figures,
    flags,
    linkage,
    severity,
)
from mentorstats.errors import ArgumentError


@pytest.fixture(scope="module")
def long():
    drawn = programme(5, candidates=30, raters=6, criteria=2, lessons=2)
    return drawn.assign(level=drawn["rank"])


@pytest.fixture(scope="module")
def base(long):
    return base_fit(long)


@pytest.fixture(scope="module")
def table(base, long):
    return severity(base, networks=linkage(long).raters)


def spans(axes):
    """Ends of the intervals, from the top."""
    return [(segment[0][0], segment[1][0]) for segment in axes.collections[0].get_segments()]


def test_severity_by_code(table):
    shuffled = table.sort_values("contrast_level")
    axes = held(figures.severity, shuffled)
    assert labels(axes) == sorted(table["rater"])
    rows = table.sort_values("rater")
    assert np.array(spans(axes)) == pytest.approx(
        rows[["contrast_level_low", "contrast_level_high"]].to_numpy()
    )


def test_one_role_at_a_time(table):
    two = pd.concat([table, table.assign(rater_role="mentor")])
    with pytest.raises(ArgumentError, match="2 roles"):
        figures.severity(two)
    with pytest.raises(ArgumentError, match="no role 'trainer'"):
        figures.severity(two, role="trainer")
    assert len(labels(held(figures.severity, two, role="mentor"))) == len(table)
    with pytest.raises(ArgumentError, match="42 raters"):
        figures.severity(pd.concat([table] * 7))


def test_assignment_and_drift(base):
    found = assignment_check(base)
    axes = held(figures.assignment, found)
    rows = found.raters.sort_values("rater")
    assert [low for low, _ in spans(axes)] == pytest.approx(rows["difference_level_low"].tolist())
    over = drift(base, per="week")
    assert "levels a week" in held(figures.drift, over).get_xlabel()


def test_networks_by_role(long):
    found = linkage(long)
    axes = held(figures.linkage, found)
    assert labels(axes) == list(found.roles.index)
    assert sum(bar.get_width() for bar in axes.patches) == len(found.raters)


def test_flags_beside_chance(table):
    found = flags({"severity": table}, policy.read())
    axes = held(figures.flags, found)
    assert labels(axes) == ["severity"]
    assert axes.patches[0].get_width() == found.families["n_flagged"].sum()
    line = axes.collections[0].get_segments()[0]
    assert line[0][0] == pytest.approx(found.families["flagged_by_chance"].sum())
    with pytest.raises(ArgumentError, match="no effect was looked at"):
        figures.flags(flags({}, policy.read()))


def test_adjusted_against_recorded(base):
    found = adjusted_scores(base)
    axes = held(figures.adjusted, found)
    points = np.asarray(axes.collections[0].get_offsets())
    assert points[:, 0] == pytest.approx(found.scores["recorded"].to_numpy())
    assert points[:, 1] == pytest.approx(found.scores["adjusted"].to_numpy())
    with pytest.raises(ArgumentError, match="no score was adjusted"):
        figures.adjusted(type(found)(found.scores.assign(adjusted=float("nan")), found.summary))
