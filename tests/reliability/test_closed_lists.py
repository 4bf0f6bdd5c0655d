"""Tables of studies and plans have no column, status or reference that the closed lists do not know."""

import tomllib

import pandas as pd
from simulated import drawn

from mentorstats import places
from mentorstats.calibration.networks.extra_scores_by_role import role_links
from mentorstats.reliability import composite, d_study, g_study, profile_study
from mentorstats.reliability.criteria.by_criterion import by_criterion
from mentorstats.reliability.plans.halves import change_between_halves
from mentorstats.reliability.plans.visit_plans import visit_plans
from mentorstats.reliability.plans.visit_scores import visit_scores

SCORES = drawn({"p": 12, "r": 3, "o": 2}, {"p": 1, "p × r × o": 1})


def known(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return set(tomllib.loads(text))


def test_columns_and_statuses():
    for method in ("anova", "reml"):
        study = g_study(SCORES, object="p", facets=["r", "o"], score="score", method=method)
        plans = d_study(study, {"r": [1, 2]}, cut=5, cost={"r": 1}).drop(columns=["r", "o"])
        for table in (study.components, study.mean_squares, study.hidden, plans):
            assert set(table.columns) <= known("result_columns.toml")
        for table in (study.components, plans):
            assert set(table["status"]) <= known("statuses.toml")


def test_tables_of_a_programme():
    nested = {"observation": "candidate"}
    of = {"candidate": 1, "observation × rater in candidate": 1}
    table = drawn({"candidate": 12, "observation": 4, "rater": 3}, of, nested=nested)
    table = table.rename(columns={"score": "rank"}).assign(rater_role="supervisor", week=table.observation)
    table["observation"] += 10 * table.candidate
    both = pd.concat([table.assign(criterion=name) for name in ("a", "b")])
    scores = visit_scores(both)
    tables = (
        visit_plans(both).table,
        by_criterion(scores, 1, 2),
        change_between_halves(scores).table,
        role_links(both)[0].table.set_index(["rater", "candidate"]),
        composite_of(table).to_frame().T,
    )
    for found in tables:
        assert set(found.columns) <= known("result_columns.toml")
        assert set(found.get("status", pd.Series("ok"))) <= known("statuses.toml")


def composite_of(table):
    wide = table.query("observation % 10 == 0").drop(columns="observation")
    both = pd.concat([wide.assign(criterion=name, rank=wide["rank"] * at) for at, name in enumerate("ab", 1)])
    found = profile_study(
        both, object="candidate", facets="rater", score="rank", by="criterion", linked="rater"
    )
    return composite(found, {"a": 1, "b": 1}, {"rater": 2})
