"""BMC Medical Education 2019 (10.1186/s12909-019-1594-y), Table 1: students by raters in occasions.

The scores are made so that their sums of squares are those of the table.
"""

import numpy as np
import pytest

from mentorstats.estimate import Status
from mentorstats.reliability import d_study, g_study
from mentorstats.reliability.components.design import design
from mentorstats.reliability.components.squares import deviations

PRINTED = 5.1e-5
THIRD_DIGIT = 5.1e-4


def scores_with(data, from_array):
    shape = (data["students"], data["occasions"], data["raters"])
    plan = design("student", ["occasion", "rater"], {"rater": "occasion"})
    noise = np.random.default_rng(0).normal(size=shape)
    total = np.zeros(shape)
    for effect, ss in zip(plan.effects, _in_order(plan, data["SS"]), strict=True):
        part = np.broadcast_to(deviations(noise, effect, plan), shape)
        total = total + part * np.sqrt(ss / (part**2).sum())
    return from_array(total, ["student", "occasion", "rater"])


def _in_order(plan, sums):
    named = {name.removesuffix(", residual"): value for name, value in sums.items()}
    return [named[plan.name(effect)] for effect in plan.effects]


def test_the_published_table(block, from_array):
    example = block("GTH-GOLDEN")
    data, expected = example["data"], example["expected"]
    study = g_study(
        scores_with(data, from_array),
        object="student",
        facets=["occasion", "rater"],
        nested={"rater": "occasion"},
        score="score",
    )
    table = study.components.loc[list(data["SS"])]
    assert list(table.ss) == pytest.approx(list(data["SS"].values()))
    assert list(table.df) == data["df"]
    raw = list(expected["variance_raw"].values())
    assert list(table.variance_raw) == pytest.approx(raw, abs=PRINTED)
    assert (100 * table.share).round().tolist() == expected["share_percent"]
    assert table.status["student × occasion"] == Status.BOUNDARY
    plan = d_study(study, {}).set_index("scenario").loc["as_estimated"]
    assert plan.generalizability == pytest.approx(expected["G"], abs=THIRD_DIGIT)
    assert plan.dependability == pytest.approx(expected["Phi"], abs=THIRD_DIGIT)
    assert plan.sem_relative == pytest.approx(expected["SEM_relative"], abs=THIRD_DIGIT)
    assert plan["sem"] == pytest.approx(expected["SEM_absolute"], abs=THIRD_DIGIT)
