"""The survey of the invented programme finds what was planted, and only sizes that matter are marked."""

import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.calibration import base_fit, survey
from mentorstats.calibration.follow_up import EFFECTS

EFFECT_OF = {
    "severe": "severity",
    "lenient": "severity",
    "drift": "drift over weeks",
    "central_tendency": "central tendency",
    "halo": "halo",
}
ERRORS = 3  # standard errors within which what was planted has to be found


@pytest.fixture(scope="module")
def found(invented_records, invented_base):
    return survey(
        invented_records.long(),
        policy.read(),
        placements=invented_records.placements,
        observations=invented_records.observations,
        base=invented_base,
    )


def test_every_planted_rater_is_marked_for_what_was_planted(found, invented) -> None:
    marked = set(zip(found.flags.flagged["rater"], found.flags.flagged["about"], strict=True))
    planted = invented.truth.planted
    assert len(planted) == 6
    for rater, effect in zip(planted["rater"], planted["effect"], strict=True):
        assert (rater, EFFECT_OF[effect]) in marked


def test_planted_severities_and_drift_lie_within_three_errors(found, invented) -> None:
    truth = invented.truth.raters.set_index("rater")
    for name, column, planted in (
        ("severity", "shift", ("severe", "lenient")),
        ("drift over weeks", "drift", ("drift",)),
    ):
        table = found.flags.tables[name].set_index("rater")
        of_role = truth[truth["role"] == "supervisor"][column]
        there = invented.truth.planted["effect"].isin(planted)
        for rater in invented.truth.planted.loc[there, "rater"]:
            true = truth.loc[rater, column] - of_role.mean()
            row = table.loc[rater]
            assert abs(row["contrast"] - true) < ERRORS * row["contrast_se"]


def test_every_effect_is_judged_and_chance_stands_beside(found) -> None:
    families = found.flags.families
    assert set(families["about"]) == set(EFFECTS)
    assert (families["flagged_by_chance"] < 0.2).all()
    assert families["n_flagged"].sum() == len(found.flags.flagged)
    assert len(found.groups) == 3


def test_without_ratings_everything_has_a_status(invented_records) -> None:
    long = invented_records.long().iloc[:0]
    empty = survey(
        long,
        policy.read(),
        placements=invented_records.placements,
        observations=invented_records.observations,
        base=base_fit(long),
    )
    assert empty.flags.flagged.empty
    assert isinstance(empty.roles, pd.DataFrame)
