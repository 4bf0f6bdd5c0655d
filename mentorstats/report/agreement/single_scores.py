"""Section: how reliable one rating is, and the mean of a candidate's ratings."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate

ROWS = {
    ("observation/criterion", "icc_a_1"): "One rating, of a criterion of a lesson",
    ("candidate", "icc_a_1"): "One rating, of a candidate",
    ("candidate", "icc_a_k"): "Mean of all ratings of a candidate (dependability)",
}
ABOUT = partial(
    Section,
    key="single-scores",
    name="reliability of a rating",
    question="How reliable is one rating, and the mean of a candidate's ratings?",
)


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.agreement.scores.single_scores.single_scores`; empty without ratings.
    """
    if found.empty:
        return ABOUT(
            answer="No rubric version has ratings by two or more raters.",
            status=Status.NO_RECORDS,
            needs="ratings under one rubric version by two or more raters",
        )
    minimum = policy.rule("minimum_group_size")
    rows = {
        (str(rubric), str(version)): part
        for (rubric, version), part in found.groupby(["rubric", "rubric_version"], observed=True, sort=True)
    }
    sizes = found.groupby(["rubric", "rubric_version"], observed=True, as_index=False)
    ordered = wording.newest_first(sizes[["n_clusters", "n_ratings"]].max(), "n_ratings", minimum)
    tables = tuple(_table(*key, rows[key]) for key in ordered)
    told = [_phrase(wording.version(*key), t.data, minimum) for key, t in zip(ordered, tables, strict=True)]
    known = [sentence for sentence in told if sentence]
    return ABOUT(
        answer=known[0] if known else "No rubric version has enough ratings and candidates to say.",
        detail=tuple(known[1:]),
        tables=tables,
        method=(
            "Intraclass correlations of the levels counted 1, 2, 3, …, from variance components by "
            "restricted maximum likelihood, because not every rater rated every lesson. They are for "
            "absolute agreement with raters as a sample: differences in severity count as error. 0 means "
            "nothing but error and 1 means no error. The standard error of measurement is in levels. "
            "Intervals of both are generalised intervals, by Monte Carlo from the same draws of the "
            "variances.",
        ),
        references=("ten_hove_2024", "hannig_2006"),
        caution=(
            "All of this assumes that candidates were assigned to raters as if at random. Where some raters "
            "have the weaker candidates, severity and candidate quality are confounded.",
        ),
    )


def _phrase(name: str, data: pd.DataFrame, minimum: Rule) -> str:
    one, mean = data.iloc[0], data.iloc[-1]
    known = not (pd.isna(one["icc"]) or pd.isna(mean["icc"]))
    if not known or not minimum.met(mean["n_clusters"]):
        return ""
    first = estimate(one["icc"], one["icc_low"], one["icc_high"], "coefficient")
    last = estimate(mean["icc"], mean["icc_low"], mean["icc_high"], "coefficient")
    return (
        f"Under {name}, the reliability of a single rating of a lesson is {first}. The dependability of the "
        f"mean of a candidate's ratings is {last}."
    )


def _table(rubric: str, version: str, rows: pd.DataFrame) -> Table:
    wanted = rows.set_index(["object", "coefficient"]).reindex(pd.MultiIndex.from_tuples(ROWS))
    data = pd.DataFrame({"score": list(ROWS.values())})
    for suffix, source in zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True):
        data["icc" + suffix] = wanted[source].to_numpy()
    data["icc" + STATUS] = data["icc" + STATUS].fillna(Status.NOT_IDENTIFIED.value)
    for name in ("sem", "sem_low", "sem_high", "k", "n_ratings", "n_raters", "n_clusters"):
        data[name] = wanted[name].to_numpy()
    data["k"] = data["k"].round()
    for name in ("k", "n_ratings", "n_raters", "n_clusters"):
        data[name] = data[name].astype("Int64")
    data["sem" + STATUS] = data["icc" + STATUS]
    return Table(
        key=wording.key("single-scores", rubric, version),
        title=f"Reliability of ratings, {wording.version(rubric, version)}",
        data=data,
        columns=(
            group("score", "Score"),
            counted("k", "Ratings per score (harmonic mean)", "ratings"),
            counted("n_clusters", "Candidates", "people"),
            counted("n_raters", "Raters", "raters"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("icc", "Intraclass correlation", "coefficient"),
            statistic("sem", "Standard error of measurement", "distance"),
        ),
        references=("ten_hove_2024",),
    )
