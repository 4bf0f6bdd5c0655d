"""Networks by role, from a long table."""

import pandas as pd
import pytest

from mentorstats.calibration import linkage
from mentorstats.calibration.networks.extra_scores_by_role import role_links
from mentorstats.errors import ColumnError

ROWS = [
    ("m1", "mentor", "c1"),
    ("m2", "mentor", "c2"),
    ("m3", "mentor", "c3"),
    ("s1", "supervisor", "c1"),
    ("s1", "supervisor", "c2"),
    ("s1", "supervisor", "c2"),
    ("s2", "supervisor", "c3"),
    ("s2", "supervisor", "c4"),
    ("t1", "trainer", "c1"),
    ("t2", "trainer", "c1"),
    ("t2", "trainer", "c3"),
]


def ratings():
    frame = pd.DataFrame(ROWS, columns=["rater", "rater_role", "candidate"])
    return frame.assign(observation=range(len(frame)))


def test_each_role():
    mentor, supervisor, trainer = role_links(ratings(), price=30)
    assert (mentor.n_networks, mentor.n_networks_within, mentor.own) == (1, 3, True)
    assert mentor.table.empty
    assert (supervisor.n_networks, supervisor.n_networks_within) == (1, 2)
    assert supervisor.table.empty
    assert (trainer.n_networks, trainer.n_networks_within) == (1, 1)


def test_supervisors_whom_no_other_role_joins():
    mentor, supervisor = role_links(ratings().query("rater_role != 'trainer'"), price=30)
    assert (mentor.n_networks, mentor.own, len(mentor.table)) == (2, True, 0)
    assert (supervisor.n_networks, supervisor.n_joining, supervisor.own) == (2, 1, False)
    rows = supervisor.table
    assert list(zip(rows.rater, rows.candidate, strict=True)) == [("s1", "c3"), ("s2", "c2")]
    assert list(rows.closes_ring) == [False, True]
    assert rows.cost.sum() == 60


def test_rows_without_a_code_and_repeated_rows_do_not_count():
    table = ratings()
    more = pd.concat([table, table, table.assign(candidate=None)], ignore_index=True)
    for one, other in zip(role_links(table), role_links(more), strict=True):
        pd.testing.assert_frame_equal(one.table, other.table)
        assert one.n_networks == other.n_networks
    assert role_links(table.iloc[:0]) == []
    with pytest.raises(ColumnError, match="rater_role"):
        role_links(table.drop(columns="rater_role"))


def test_supervisors_with_one_candidate_each_are_proposed_nothing():
    table = ratings().query("rater_role == 'supervisor'").drop_duplicates("rater")
    (only,) = role_links(table)
    assert only.own
    assert only.table.empty


def test_networks_are_those_that_calibration_counts():
    frame = ratings().assign(rubric="x", rubric_version="1", criterion="a", level="b")
    for table in (frame, frame.query("rater_role != 'trainer'")):
        counted = linkage(table).roles["n_networks"]
        found = {one.role: one.n_networks for one in role_links(table)}
        assert found == counted.to_dict()
