"""Scores with a middling rater: against direct predictions, numerical integration and known truth."""

import assignment_simulation as simulation
import numpy as np
import pandas as pd
import pytest
from crossed import programme
from scipy.special import expit

from mentorstats.calibration import Assignment, adjusted_scores, base_fit
from mentorstats.calibration.base.rows import WEEKS
from mentorstats.calibration.raters import adjusted
from mentorstats.errors import ArgumentError

SAME = 1e-9  # the same formula by another way
DIFFERENCES = 1e-3  # one-sided numerical slopes, relative


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4, criteria=2))


@pytest.fixture(scope="module")
def found(base):
    return adjusted_scores(base)


def predicted(base, interval="none"):
    """Direct predictions at the mean week, candidates' effects included, one row each."""
    keys = ["candidate", "criterion"]
    rows = base.rows.drop_duplicates(keys).assign(**{WEEKS: 0.0})
    values = base.fit.predict(rows, random="candidate", scale="level", interval=interval)
    return pd.concat([rows[keys], values], axis=1)


def test_without_lessons_scores_are_mean_predictions(base, monkeypatch) -> None:
    monkeypatch.setattr(adjusted, "lesson_variance", lambda base: 0.0)
    scores = adjusted_scores(base).scores.set_index("candidate")
    direct = predicted(base).groupby("candidate")["value"].mean()
    assert scores["adjusted"].to_numpy() == pytest.approx(direct[scores.index].to_numpy(), abs=SAME)


def test_errors_are_those_of_direct_predictions(monkeypatch) -> None:
    monkeypatch.setattr(adjusted, "lesson_variance", lambda base: 0.0)
    base = base_fit(programme(5, criteria=1))
    scores = adjusted_scores(base).scores.set_index("candidate")
    direct = predicted(base, "confidence").set_index("candidate").loc[scores.index]
    assert scores["sem"].to_numpy() == pytest.approx(direct["se"].to_numpy(), rel=DIFFERENCES)
    for end in ("low", "high"):
        assert scores[end].to_numpy() == pytest.approx(direct[end].to_numpy(), abs=DIFFERENCES)


def test_lessons_are_integrated_over(base) -> None:
    tau = base.joint.beta[: base.model.levels.problem.c]
    predictor, measure = base.predictor[:50], base.model.rows.threshold_group[:50]
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    sd = 0.9
    several = [base.shares_at(predictor + sd * node, measure) @ [1, 2, 3, 4] for node in nodes]
    integral = weights @ np.array(several) / weights.sum()
    assert adjusted.expected_rank(base, tau, predictor, measure, sd**2) == pytest.approx(integral, abs=1e-7)


def test_roles_are_averaged_as_often_as_they_rated() -> None:
    rows = programme(4, criteria=1)
    first = rows["rater"].isin(["r00", "r01", "r02"])
    base = base_fit(rows.assign(rater_role=np.where(first, "mentor", "supervisor")))
    share = adjusted.role_weights(base)
    assert share["mentor"] == pytest.approx(first.mean())
    variance = adjusted.lesson_variance(base)
    one = adjusted_scores(base).scores.set_index("candidate")["adjusted"]
    frame = base.rows.drop_duplicates("candidate").assign(**{WEEKS: 0.0})
    tau, measure = base.joint.beta[: base.model.levels.problem.c], np.zeros(len(frame), dtype=np.int64)
    latent = base.fit.predict(frame.assign(rater_role="mentor"), random="candidate", scale="latent")["value"]
    expected = 0.0
    for role in share.index:
        there = base.fit.predict(frame.assign(rater_role=role), random="candidate", scale="latent")["value"]
        at = there.to_numpy() + tau.mean()  # the latent scale counts from the middle of the cut-points
        expected = expected + share[role] * adjusted.expected_rank(base, tau, at, measure, variance)
    assert len(latent) == len(one)
    assert one[frame["candidate"]].to_numpy() == pytest.approx(expected, abs=1e-8)


def true_scores(ability):
    """Expected rank of simulated candidates with a middling rater, lessons drawn and averaged."""
    lessons = simulation.SD["lesson"] * np.random.default_rng(0).normal(size=4000)
    at = ability[:, None] + lessons
    return 1 + sum(expit(at - cut).mean(axis=1) for cut in simulation.CUTS)


@pytest.mark.parametrize("number", [0, 1])
def test_adjusted_scores_are_nearer_to_the_truth_than_recorded_ones(number) -> None:
    long, ability, _ = simulation.draw(simulation.CELLS[0], np.random.default_rng([3, number]))
    scores = adjusted_scores(base_fit(long)).scores
    truth = true_scores(ability)[scores["candidate"].str[1:].astype(int)]
    errors = {name: np.sqrt(((scores[name] - truth) ** 2).mean()) for name in ("recorded", "adjusted")}
    assert errors["adjusted"] < 0.9 * errors["recorded"]
    inside = (scores["low"] <= truth) & (truth <= scores["high"])
    assert inside.mean() > 0.85


def test_what_raters_did_goes_with_their_effects(base, found) -> None:
    effects = pd.Series(base.joint.b[base.raters["column"]], index=base.raters["rater"])
    mean = base.rows["rater"].map(effects).groupby(base.rows["candidate"]).mean()
    scores = found.scores.set_index("candidate")
    assert np.corrcoef(scores["rater_shift"], mean[scores.index])[0, 1] > 0.9


def test_a_cut_counts_decisions(base, found) -> None:
    scores = found.scores
    row = adjusted_scores(base, cut=2.5).summary.iloc[0]
    passing = scores["recorded"] >= 2.5
    assert row["n_changed"] == (passing != (scores["adjusted"] >= 2.5)).sum()
    assert row["n_within_sem"] == ((scores["adjusted"] - 2.5).abs() < scores["sem"]).sum()
    assert row["n_changed"] > 0
    assert found.summary["n_changed"].isna().all()
    assert row["correlation"] == pytest.approx(np.corrcoef(scores["recorded"], scores["adjusted"])[0, 1])


def test_recorded_is_the_mean_of_the_ratings(base, found) -> None:
    mean = base.rows.groupby("candidate")["rank"].mean()
    scores = found.scores.set_index("candidate")
    assert scores["recorded"].to_numpy() == pytest.approx(mean[scores.index].to_numpy())


def test_scores_are_withheld_where_assignment_matters(base) -> None:
    roles = pd.DataFrame({"rater_role": ["supervisor"], "status": ["assignment_not_ignorable"]})
    found = adjusted_scores(base, assignment=Assignment(pd.DataFrame(), roles), cut=2.5)
    assert found.scores[["adjusted", "sem", "low", "high", "rater_shift"]].isna().all(axis=None)
    assert found.scores["recorded"].notna().all()
    assert set(found.scores["status"]) == {"assignment_not_ignorable"}
    assert found.summary["n_changed"].isna().all()


def test_a_confidence_in_percent_is_refused(base) -> None:
    with pytest.raises(ArgumentError, match="confidence"):
        adjusted_scores(base, confidence=95)
