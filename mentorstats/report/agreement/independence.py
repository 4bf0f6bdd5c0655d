"""Section: whether agreement is affected by ratings that were not independent, or by shared supervisors."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import (
    COEFFICIENTS,
    COUNTS,
    NEEDS_PAIRS,
    NO_PAIRS,
    REFERENCES,
    STATISTICS,
)
from mentorstats.report.agreement.layout import spread
from mentorstats.report.columns import group
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

ALL, INDEPENDENT, CROSSED = "All pairs", "Independent pairs", "Independent, clustered by supervisor too"
ABOUT = partial(
    Section,
    key="independence",
    name="independence of ratings",
    question="Is agreement affected by ratings that were not independent, or by shared supervisors?",
)


def section(
    with_all: pd.DataFrame,
    without: pd.DataFrame,
    crossed: pd.DataFrame,
    pairs: pd.DataFrame,
    policy: Policy,
) -> Section:
    """Build the section.

    Parameters
    ----------
    with_all, without, crossed
        From `mentorstats.agreement.coefficients.by_version` with ``by=()``: all pairs, those not marked as
        dependent, and the latter clustered by candidate and supervisor.
    pairs
        All pairs, from `mentorstats.agreement.double_scored`.
    """
    if pairs.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    if not pairs["independent"].notna().any():
        unknown = "The records do not say which ratings were independent."
        return ABOUT(answer=unknown, needs="the field independent in the ratings")
    # The column of people holds candidates in every row, so that it means one thing.
    sets = {ALL: with_all, INDEPENDENT: without, CROSSED: crossed.assign(n_clusters=without["n_clusters"])}
    parts = [spread(part, COEFFICIENTS).assign(pairs=name) for name, part in sets.items() if len(part)]
    data = pd.concat(parts, ignore_index=True).sort_values(VERSION, kind="stable", ignore_index=True)
    data["version"] = wording.versions_named(data)
    return ABOUT(
        answer=_answer(pairs, data, policy.rule("minimum_group_size")),
        tables=(_table(data),),
        method=(
            "A rating agreed in conference, or given after seeing the other one, is not independent "
            "evidence. A pair is marked where either rating is. A pair for which nothing was recorded counts "
            "as independent.",
            "Supervisors who rate several candidates carry their habits from one to the next. The third row "
            "of a version treats the ratings of one supervisor as a cluster as well as those of one "
            "candidate. Its values are those of the second row; only the intervals differ. They generalise "
            "to other supervisors; the intervals of the first two rows do not.",
        ),
        references=("ho_kane_2013", "cameron_2011"),
    )


def _table(data: pd.DataFrame) -> Table:
    return Table(
        key="independence-table",
        title="Agreement over all criteria together, three ways",
        data=data,
        columns=(group("version", "Rubric version"), group("pairs", "Ratings"), *COUNTS, *STATISTICS),
        note="Compare the rows of a version with each other. Over all criteria together the "
        "coefficients also credit raters for knowing which criteria are scored higher, so they differ from "
        "those of one criterion.",
        references=REFERENCES,
    )


def _answer(pairs: pd.DataFrame, data: pd.DataFrame, minimum: Rule) -> str:
    n = int(pairs["independent"].eq(False).fillna(False).sum())
    if n == 0:
        return f"All {len(pairs):,} pairs count as independent."
    share = number(n / len(pairs), "share")
    marked = (
        f"{n:,} of {count(len(pairs), 'pair')} ({share}\N{NO-BREAK SPACE}%) "
        f"{'is' if n == 1 else 'are'} marked as not independent."
    )
    return " ".join([marked, *_changes(data, minimum)])


def _changes(data: pd.DataFrame, minimum: Rule) -> list[str]:
    """How exact agreement moves in the first version that may be shown, and whether the others move."""
    told = []
    for version, rows in data.groupby("version", sort=False):
        of = {str(row["pairs"]): row for row in rows.to_dict("records")}
        before, after = of.get(ALL), of.get(INDEPENDENT)
        if before is None or after is None or not minimum.met(after["n_clusters"]):
            continue
        if not (pd.isna(before["exact"]) or pd.isna(after["exact"])):
            told.append(wording.moved("exact agreement", before["exact"], after["exact"], str(version)))
    return told
