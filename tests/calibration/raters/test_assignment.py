"""Severity with and without what candidates are like: closed forms, dense solutions, size and power."""

import csv

import assignment_simulation as simulation
import numpy as np
import pandas as pd
import pytest
from crossed import programme

from mentorstats.calibration import assignment_check, base_fit
from mentorstats.calibration.base import within_candidates
from mentorstats.calibration.base.rows import MEASURE, WEEKS
from mentorstats.calibration.raters import assignment, group_means
from mentorstats.calibration.raters.rater_effects import errors
from mentorstats.calibration.raters.rater_variance import between, members_of_estimates
from mentorstats.errors import ArgumentError
from mentorstats.mixed import by, fit
from mentorstats.mixed.tables.levels_scale import Places, level_shares

EXACT = 1e-9  # closed forms of the same quadratic
ONE_STEP = 0.1  # of a standard error: a Newton step from the fit against the optimum
DIFFERENCES = 2e-4  # second differences of the log-likelihood
WITHIN = 3.0  # Monte Carlo standard errors
LEVEL = 0.05  # of the test
FEWEST = 100  # programmes that a row rests on
NARROW = 0.91  # coverage at 95 %: with two criteria the weights of the fit cost some of it


@pytest.fixture(scope="module")
def base():
    return base_fit(programme(4))


@pytest.fixture(scope="module")
def gaussian():
    """A linear model of 30 candidates and 6 raters in dense matrices, each candidate with two raters."""
    rng = np.random.default_rng(2)
    candidate, rater = np.repeat(np.arange(30), 4), np.tile([0, 0, 1, 1], 30)
    rater = (candidate // 5 + rater * (1 + candidate % 2)) % 6
    z_c, z_r = np.eye(30)[candidate], np.eye(6)[rater]
    weights = rng.uniform(0.5, 1.5, 120)
    return np.ones((120, 1)), z_c, z_r, weights, rng.normal(size=120) + z_r @ rng.normal(size=6)


def projection(v, x):
    inverse = np.linalg.inv(v)
    return inverse - inverse @ x @ np.linalg.pinv(x.T @ inverse @ x) @ x.T @ inverse


def test_contrasts_and_their_covariance_are_those_of_generalised_least_squares(gaussian) -> None:
    one, z_c, z_r, weights, y = gaussian
    between, prior = 1.3, np.full(6, 0.6)
    errors = np.diag(1 / weights)
    whole = errors + between * z_c @ z_c.T + 0.6 * z_r @ z_r.T
    maps, made = [], []
    for v, x in ((whole, one), (errors + 0.6 * z_r @ z_r.T, np.hstack([one, z_c]))):
        p = projection(v, x)
        shrunken, error = 0.6 * z_r.T @ p, np.diag(prior) - 0.36 * z_r.T @ p @ z_r
        contrast, se, reliability = assignment.unshrunken(shrunken @ y, np.diagonal(error), prior)
        for j in range(6):  # rater j fixed, the others random
            others = v - 0.6 * np.outer(z_r[:, j], z_r[:, j])
            information = z_r[:, j] @ projection(others, x) @ z_r[:, j]
            assert se[j] ** -2 == pytest.approx(information, rel=EXACT)
            fixed = z_r[:, j] @ projection(others, x) @ y / information
            assert contrast[j] == pytest.approx(fixed, rel=EXACT)
        maps.append(shrunken / reliability[:, None])
        made.append((error, se))
    difference = maps[0] - maps[1]
    found = assignment.difference_covariance(made[1][0], made[0][0], prior)
    assert found == pytest.approx(difference @ whole @ difference.T, abs=EXACT)
    assert np.diagonal(found) == pytest.approx(made[1][1] ** 2 - made[0][1] ** 2, abs=EXACT)


def fixed_hessian(base):
    """Minus second derivatives of the log-likelihood by cut-points and slopes, by differences."""
    model, level = base.model, base.model.rows.response.astype(int)
    cuts, n = model.levels.problem.c, len(base.rows)
    group, random = model.rows.threshold_group, base.random_columns @ base.joint.b
    at = Places(np.zeros((n, 0)), np.zeros((n, 0)), group, ())

    def value(psi):
        eta = model.rows.fixed @ psi[cuts:] + random
        shares = level_shares(model, at, psi[:cuts], eta, np.ones(n), np.zeros(n))
        return np.log(shares[np.arange(n), level]).sum()

    psi, p, step = base.joint.beta, len(base.joint.beta), 1e-3
    unit, out = step * np.eye(p), np.empty((p, p))
    for i in range(p):
        for j in range(i + 1):
            a, b = unit[i], unit[j]
            bent = value(psi + a + b) - value(psi + a - b) - value(psi - a + b) + value(psi - a - b)
            out[i, j] = out[j, i] = -bent / (4 * step**2)
    return out


def test_freed_candidates_are_the_dense_solution(base, monkeypatch) -> None:
    monkeypatch.setattr(
        within_candidates, "FREE_SD", 5.0
    )  # wider leaves less of the cut-points than differences tell
    z, joint = base.random_columns.toarray(), base.joint
    toward, raters = base.at.fixed_information(base.random_columns), base.raters["column"].to_numpy()
    before, after = joint.spread().toarray(), within_candidates.freed(base)
    free = after.spread().toarray()
    prior, weak = np.linalg.inv(before @ before.T), np.linalg.inv(free @ free.T)
    top = np.hstack([z.T @ (base.information[:, None] * z) + weak, toward])
    whole = np.vstack([top, np.hstack([toward.T, fixed_hessian(base)])])
    pull = np.concatenate([(prior - weak) @ joint.b, np.zeros(len(joint.beta))])
    inverse = np.linalg.inv(whole)
    assert after.b[raters] == pytest.approx(
        (joint.b + (inverse @ pull)[: len(joint.b)])[raters], abs=DIFFERENCES
    )
    dense = inverse[np.ix_(raters, raters)]
    assert errors(after, raters) == pytest.approx(dense, abs=DIFFERENCES)


def test_candidates_with_the_spread_that_they_had_change_nothing(base, monkeypatch) -> None:
    t = within_candidates.candidate_grouping(base)
    monkeypatch.setattr(within_candidates, "FREE_SD", base.joint.factors[t][0, 0])
    again, raters = within_candidates.freed(base), base.raters["column"].to_numpy()
    assert again.b == pytest.approx(base.joint.b, abs=EXACT)
    both = [errors(joint, raters) for joint in (again, base.joint)]
    assert both[0] == pytest.approx(both[1], abs=1e-7)


def test_the_random_effects_contrast_is_what_one_step_finds(base) -> None:
    found = assignment_check(base).raters
    step, _ = base.one_step(base.by_rater()).alone()
    assert found["contrast"].to_numpy() == pytest.approx(step, abs=0.1 * found["contrast_se"].min())


def test_severities_move_as_in_a_fit_with_group_means(base) -> None:
    raters = base.raters
    moved, covariance, means, _ = group_means.group_means(base, raters)
    shares = group_means.caseload_columns(base, raters).toarray()
    named = {f"share{i}": shares[:, i] for i in range(1, len(raters))}  # all together they are the constant
    refit = fit(
        base.rows.assign(**named),
        response="rank",
        kind="ordinal",
        levels=[1, 2, 3, 4],
        fixed=("cohort", WEEKS, *named),
        grouped=(
            by("candidate", slope=WEEKS, correlated=False),
            by("rater"),
            by("observation"),
            by("rater", "observation"),
            by("rater", "criterion"),
        ),
        thresholds_by=MEASURE,
    )
    there = refit.coefficients.loc[list(named)]
    assert means[1:] - means[0] == pytest.approx(
        there["estimate"].to_numpy(), abs=ONE_STEP * there["se"].min()
    )
    found = assignment_check(base)
    column = found.raters["contrast"].to_numpy() - moved
    effect = refit.effects("rater")["effect"].to_numpy()
    error = found.raters["contrast_se"].to_numpy()
    prior = assignment._prior(base, raters["column"].to_numpy())
    shrunken = column / (1 + error**2 / prior)
    assert shrunken - shrunken.mean() == pytest.approx(effect - effect.mean(), abs=ONE_STEP * error.min())
    root = np.sqrt(np.diagonal(covariance))
    assert np.abs(moved / root).max() < 4
    assert found.roles["df"].tolist() == [len(raters) - 1]


def test_candidates_whom_no_rater_of_the_role_met_are_not_compared() -> None:
    """A third of the candidates, the best by far, have a mentor only."""
    rng = np.random.default_rng([simulation.SEED, 5])
    rows, _, _ = simulation.draw(simulation.CELLS[0], rng)
    alone = rows["candidate"].str[1:].astype(int) % 3 == 0
    rows["rank"] = rows["rank"].mask(alone, np.minimum(rows["rank"] + 1, 4))
    base = base_fit(rows[~alone | (rows["rater_role"] == "mentor")])
    found = assignment_check(base).roles.set_index("rater_role").loc["supervisor"]
    assert found["df"] == found["n_compared"] - 1
    assert found["status"] == "ok"
    supervisors = base.raters[base.raters["rater_role"] == "supervisor"]
    _, _, means, covariance = group_means.group_means(base, supervisors)
    assert means.sum() == pytest.approx(0.0, abs=1e-6)
    assert covariance.sum() == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_the_lower_limit_is_above_zero_exactly_when_the_test_rejects(seed) -> None:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(8, 8))
    covariance = root @ root.T
    for size in (0.5, 1.0, 1.5, 2.0):
        found = between(members_of_estimates(size * root @ rng.normal(size=8), covariance, 0.0), 0.9)
        assert (found.low > 0) == (found.p < 0.05)
        assert np.isnan(found.low) or found.low <= found.variance <= found.high


def test_raters_who_all_rate_all_candidates_cannot_differ() -> None:
    rows = programme(3, candidates=24)
    own = rows["rater"].str[1:].astype(int) == rows["candidate"].str[1:].astype(int) % 12
    rows["rater"] = np.where(own, "r00", "r01")
    found = assignment_check(base_fit(rows))
    assert found.roles["status"].tolist() == ["ok"]
    assert found.roles["sd"].tolist() == [0.0]
    assert found.ignorable


def test_raters_who_share_no_candidate_are_not_checked() -> None:
    rows = programme(3, candidates=60, raters=12)
    rows = rows[rows["rater"] == "r" + (rows["candidate"].str[1:].astype(int) % 12).astype(str).str.zfill(2)]
    found = assignment_check(base_fit(rows))
    assert found.roles["status"].tolist() == ["not_identified"]
    assert found.raters["within"].isna().all()
    assert found.raters["contrast"].notna().all()


def test_bad_arguments_are_refused(base) -> None:
    with pytest.raises(ArgumentError, match="level"):
        assignment_check(base, level=0.6)
    with pytest.raises(ArgumentError, match="confidence"):
        assignment_check(base, confidence=95)


def test_a_fit_without_value_gives_rows_with_its_status() -> None:
    rows = programme(3)
    found = assignment_check(base_fit(rows.assign(rank=pd.array([2] * len(rows), dtype="Int8"))))
    assert found.roles["sd"].isna().all()
    assert set(found.roles["status"]) == {"one_level_used"}
    assert len(found.raters) == 12


def stored():
    with simulation.TABLE.open(encoding="utf-8", newline="") as handle:
        return {(row["placement"], float(row["share"])): row for row in csv.DictReader(handle)}


@pytest.mark.parametrize("cell", sorted(stored()))
def test_the_first_programmes_are_those_of_the_table(cell) -> None:
    number = simulation.CELLS.index(simulation.Cell(*cell))
    _, found = simulation.run(number, simulation.SUBSET)
    first = [float(x) for x in stored()[cell]["first"].split()]
    assert found.mean(axis=0) == pytest.approx(first, abs=1e-6)


@pytest.mark.long
@pytest.mark.parametrize("cell", sorted(stored()))
def test_all_programmes_are_those_of_the_table(cell) -> None:
    row = stored()[cell]
    number = simulation.CELLS.index(simulation.Cell(*cell))
    count, found = simulation.run(number, int(row["programmes"]))
    assert count == int(row["programmes"])
    assert found.mean(axis=0) == pytest.approx(
        [float(row[name]) for name in simulation.HEADER[3:-1]], abs=1e-4
    )


def test_random_assignment_is_seldom_refused_and_forty_per_cent_mostly_is() -> None:
    for (placement, share), row in stored().items():
        n = int(row["programmes"])
        most = LEVEL + WITHIN * np.sqrt(LEVEL * (1 - LEVEL) / n)
        assert n >= FEWEST, placement
        assert float(row["rejected_mentor"]) <= most, placement  # their candidates are at random in all
        if share == 0:
            assert float(row["rejected_supervisor"]) <= most, placement
        else:
            assert float(row["rejected_supervisor"]) > 0.8, placement
            assert float(row["covered_random"]) < float(row["covered_within"]), placement


def test_intervals_of_severity_are_known_to_be_a_little_narrow() -> None:
    for (placement, share), row in stored().items():
        assert NARROW <= float(row["covered_within"]) <= 0.97, (placement, share)
        if share == 0:
            assert NARROW <= float(row["covered_random"]) <= 0.97, placement
