"""Degrees of freedom and adjusted errors against lmerTest and pbkrtest.

Script, data and raw output: tests/reference/mixed_small_sample.
"""

import csv

import numpy as np
import pandas as pd
import pytest
from engine import REFERENCE, linear

from mentorstats.mixed.design.terms import by
from mentorstats.mixed.tables.degrees import kenward_roger, satterthwaite

RUN = REFERENCE / "mixed_small_sample"
DF = 1e-3  # relative
ERROR = 1e-3  # relative
LOOSE_DF = 5e-3  # lmerTest differentiates numerically

CASES = {
    "beets": ("sugpct", ["sow", "harvest"], [by("block"), by("block", "harvest")]),
    "cake": ("angle", ["recipe", "temperature"], [by("recipe", "replicate")]),
    "sleep": ("Reaction", ["Days"], [by("Subject", slope="Days")]),
    "crossed": ("diameter", ["group"], [by("plate"), by("sample")]),
    "instruct": ("y", ["service", "studage"], [by("s"), by("d")]),
}
NUMERIC = {"sugpct", "angle", "Reaction", "Days", "diameter", "y"}


def stored(case):
    with (RUN / "values.csv").open(encoding="utf-8", newline="") as handle:
        return [row for row in csv.DictReader(handle) if row["case"] == case]


def fitted(case):
    response, fixed, grouped = CASES[case.removesuffix("_thin")]
    frame = pd.read_csv(RUN / "data" / f"{case}.csv", dtype="str")
    frame = frame.assign(**{name: pd.to_numeric(frame[name]) for name in NUMERIC & set(frame.columns)})
    engine, found = linear(frame, response, fixed, grouped)
    return engine, len(found.layout.names)


@pytest.mark.parametrize(
    "case",
    [
        "beets",
        "cake",
        "sleep",
        "crossed",
        "beets_thin",
        "cake_thin",
        "sleep_thin",
        "crossed_thin",
        "instruct",
    ],
)
def test_kenward_roger_is_that_of_pbkrtest(case):
    engine, p = fitted(case)
    found = kenward_roger(engine.problem, engine.solution)
    errors = np.sqrt(np.diag(found.covariance)) * engine.scale
    for at, row in enumerate(stored(case)):
        assert errors[at] == pytest.approx(float(row["kr_se"]), rel=ERROR), row["term"]
        assert found.of_contrast(np.eye(p)[at]) == pytest.approx(float(row["kr_df"]), rel=DF), row["term"]


@pytest.mark.parametrize(
    "case", ["beets", "cake", "sleep", "crossed", "cake_thin", "crossed_thin", "instruct"]
)
def test_satterthwaite_is_that_of_lmertest(case):
    engine, p = fitted(case)
    found = satterthwaite(engine.problem, engine.solution)
    for at, row in enumerate(stored(case)):
        assert found.of_contrast(np.eye(p)[at]) == pytest.approx(float(row["satterthwaite_df"]), rel=LOOSE_DF)


def test_the_two_differ_where_data_are_unbalanced():
    """What other packages call by the second name is the first."""
    engine, p = fitted("instruct")
    pair = [
        of(engine.problem, engine.solution).of_contrast(np.eye(p)[0]) for of in (satterthwaite, kenward_roger)
    ]
    assert abs(pair[0] - pair[1]) > 5
