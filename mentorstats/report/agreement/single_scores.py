"""Section: how much of a score is what was scored, for one rating and for a candidate's mean."""

from __future__ import annotations

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import estimate
from mentorstats.report.small_groups import blank

QUESTION = "How much of a score is the lesson or the candidate, and not the rater?"
ROWS = {
    ("observation/criterion", "icc_a_1"): "one rating of a criterion of a lesson: agreement on that lesson",
    ("candidate", "icc_a_1"): "one rating, as a score of the candidate",
    ("candidate", "icc_a_k"): "mean of all ratings of a candidate: dependability",
}


def section(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.agreement.overview.single_scores`; empty without ratings.
    """
    if found.empty:
        return Section(
            key="single-scores",
            question=QUESTION,
            answer="No rubric version has ratings by two raters or more, so this cannot be told.",
            status=Status.NO_RECORDS,
        )
    minimum = policy.rule("minimum_group_size")
    tables = tuple(
        blank(_table(str(rubric), str(version), rows), minimum)
        for (rubric, version), rows in found.groupby(["rubric", "rubric_version"], observed=True, sort=True)
    )
    return Section(
        key="single-scores",
        question=QUESTION,
        answer=_answer(tables),
        tables=tables,
        method=(
            "Intraclass correlations of the levels counted 1, 2, 3, …, from variance components by "
            "restricted maximum likelihood, because not every rater rated every lesson. Absolute agreement, "
            "raters as a sample of raters: their severity counts as error. Agreement on a lesson and "
            "dependability for a candidate are different questions, and both stand here. The standard "
            "error of measurement is in levels. Intervals of both are generalised ones, by Monte Carlo from "
            "the same draws of the variances.",
        ),
        references=("ten_hove_2024", "hannig_2006"),
        caution=(
            "All of it rests on candidates having come to raters as if at random; where some raters get the "
            "weaker candidates, severity and candidate are mixed.",
        ),
    )


def _answer(tables: tuple[Table, ...]) -> str:
    told = []
    for table in tables:
        one, mean = table.data.iloc[0], table.data.iloc[-1]
        if pd.isna(one["icc"]) or pd.isna(mean["icc"]):
            continue
        first = estimate(one["icc"], one["icc_low"], one["icc_high"], "coefficient")
        last = estimate(mean["icc"], mean["icc_low"], mean["icc_high"], "coefficient")
        told.append(
            f"{table.title}: a single rating tells the lesson with {first}, the mean of all ratings of a "
            f"candidate tells the candidate with {last}"
        )
    if not told:
        return "No version has enough ratings and people to say."
    return f"{'; '.join(told)} (0 is nothing but error, 1 no error)."


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
        title=wording.version(rubric, version).capitalize(),
        data=data,
        columns=(
            group("score", "Score"),
            counted("k", "Ratings in it, harmonic mean", "ratings"),
            counted("n_clusters", "Candidates", "people"),
            counted("n_raters", "Raters", "raters"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("icc", "Intraclass correlation", "coefficient"),
            statistic("sem", "Standard error of measurement", "distance"),
        ),
        references=("ten_hove_2024",),
    )
