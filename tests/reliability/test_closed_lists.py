"""Tables of studies and plans have no column, status or reference that the closed lists do not know."""

import tomllib

from simulated import drawn

from mentorstats import places
from mentorstats.reliability import d_study, g_study

SCORES = drawn({"p": 12, "r": 3, "o": 2}, {"p": 1, "p × r × o": 1})


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


def test_columns_and_statuses():
    for method in ("anova", "reml"):
        study = g_study(SCORES, object="p", facets=["r", "o"], score="score", method=method)
        plans = d_study(study, {"r": [1, 2]}, cut=5, cost={"r": 1}).drop(columns=["r", "o"])
        for table in (study.components, study.mean_squares, plans):
            assert set(table.columns) <= known("result_columns.toml")
        for table in (study.components, plans):
            assert set(table["status"]) <= known("statuses.toml")
