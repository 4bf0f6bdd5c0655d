"""Plans rest on what was found: the same kappa, the same interval, and the planning functions themselves."""

import numpy as np
import pandas as pd
import pytest
import simulation
from paired import pairs

from mentorstats import policy
from mentorstats.agreement import double_scores_needed, precision
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.reading import next_round

CLOSE = 1e-10  # the same closed form in another order
ALIKE = 0.12  # relative: the plan's variance leaves out what clusters share in their use of the levels


def drawn(kappa=0.6, clusters=120, correlation=0.1, seed=3, criterion="k", margins="uneven"):
    """Pairs of a programme whose candidates tend to disagree together, five lessons each."""
    cell = simulation.Cell("candidate", correlation, 5, margins, 4, kappa, clusters)
    counts = simulation.draw(cell, np.random.default_rng(seed), 1)[0]
    cluster, pattern = np.nonzero(counts)
    times = counts[cluster, pattern]
    cluster, pattern = np.repeat(cluster, times), np.repeat(pattern, times)
    table = np.zeros((4, 4), dtype=int)
    table[0, 0] = len(cluster)
    made = pairs(table, criterion=criterion)
    return made.assign(
        candidate=[f"c{c}" for c in cluster],
        rank_first=pattern // 4 + 1,
        rank_second=pattern % 4 + 1,
        difference=pattern // 4 - pattern % 4,
    )


def rubrics():
    rows = [("r", "1", "k", rank) for rank in range(1, 5)]
    return pd.DataFrame(rows, columns=["rubric", "version", "criterion", "rank"])


def test_as_many_lessons_again_give_the_interval_that_was_found():
    chosen = drawn()
    plan = next_round.needed(chosen, rubrics(), policy.read()).sort_index().loc[("r", "1", "all_criteria")]
    row = by_version.by_version(chosen, rubrics(), by=()).loc[("r", "1", "cohen_kappa")]
    assert plan.loc["as_estimated", "value"] == pytest.approx(row["value"], abs=CLOSE)
    half = (row["high"] - row["low"]) / 2
    assert plan.loc["as_estimated", "half_width"] == pytest.approx(half, rel=ALIKE)
    assert plan.loc["as_estimated", "n_lessons"] == 600
    assert plan.loc["as_estimated", "pairs_per_cluster"] == 5


def test_the_numbers_are_those_of_the_planning_function():
    chosen = drawn()
    plan = next_round.needed(chosen, rubrics(), policy.read()).sort_index()
    for scenario, row in plan.loc[("r", "1", "all_criteria")].iterrows():
        shares = np.zeros((4, 4))
        np.add.at(shares, (chosen["rank_first"] - 1, chosen["rank_second"] - 1), 1 / len(chosen))
        asked = {
            "kappa": row["value"],
            "margins": shares,
            "pairs": 5,
            "lessons": 5,
            "correlation": row["correlation"],
            "weights": "quadratic",
        }
        found = double_scores_needed(**asked, half_width=0.1, floor=0.4)["n_lessons"]
        assert row["n_lessons_half_width"] == found["half_width"], scenario
        assert row["n_lessons_floor"] == found["power"], scenario
        short = precision(int(found["half_width"]) // 5 - 1, **asked)["half_width"].iloc[0]
        assert short > 0.1
    both = plan.loc[("r", "1", "all_criteria"), "correlation"]
    assert both["careful"] == pytest.approx(both["as_estimated"] + next_round.CAREFUL)


def test_the_criterion_in_the_middle_is_planned_for():
    parts = [
        drawn(kappa, seed=seed, criterion=name)
        for seed, (name, kappa) in enumerate({"low": 0.3, "mid": 0.5, "best": 0.8, "good": 0.7}.items())
    ]
    plan = next_round.needed(pd.concat(parts, ignore_index=True), rubrics(), policy.read()).sort_index()
    assert set(plan.loc[("r", "1", "middle_criterion"), "criterion"]) == {"mid"}


def test_kappa_under_the_floor_cannot_be_shown_to_be_above():
    plan = next_round.needed(drawn(0.2, margins="even"), rubrics(), policy.read())
    assert plan["n_lessons_floor"].isna().all()
    assert plan["n_lessons_half_width"].notna().all()


@pytest.mark.parametrize(
    ("table", "status"), [([[9, 0], [0, 0]], "one_level_used"), ([[9, 0], [0, 9]], "no_disagreement")]
)
def test_nothing_to_plan_from_is_named(table, status):
    plan = next_round.needed(pairs(table), rubrics(), policy.read())
    assert set(plan["status"]) == {status}
    assert plan[["half_width", "n_lessons_half_width"]].isna().all(axis=None)


def test_few_candidates_have_no_half_width_yet():
    plan = next_round.needed(pairs([[3, 1], [1, 3]]), rubrics(), policy.read())
    assert plan["half_width"].isna().all()
    assert plan["n_lessons_half_width"].notna().all()


def test_no_pairs_no_plan():
    assert next_round.needed(pairs([[1]]).iloc[:0], rubrics(), policy.read()).empty
