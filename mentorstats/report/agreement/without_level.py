"""Section: ratings without a level, by reason and rater."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.counts.without_level import UNKNOWN, WithoutLevel
from mentorstats.policy import Policy
from mentorstats.report.columns import Column, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.wording import raters_of, sentence

REASONS = {
    "not_observed": "Not observed",
    "not_applicable": "Not applicable",
    "not_scored": "Left empty",
    "withheld": "Withheld",
    UNKNOWN: "No reason recorded",
}
ABOUT = partial(
    Section,
    key="without-level",
    name="ratings without a level",
    question="How many ratings have no level, and why?",
)


def section(found: WithoutLevel, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.counts.without_level`."""
    minimum = policy.rule("minimum_group_size")
    shown = [row for _, row in found.roles.iterrows() if minimum.met(row["n_raters"])]
    if not found.roles["n_without_level"].sum():
        return ABOUT(answer="Every rating has a level.")
    used = {name: words for name, words in REASONS.items() if found.roles[name].sum()}
    reasons = tuple(counted(name, words, "ratings") for name, words in used.items())
    return ABOUT(
        answer=" ".join(_answer(row) for row in shown) or "Not shown, because there are too few raters.",
        main=("without-level-roles",),
        tables=(_roles(found.roles, reasons), _raters(found.raters, reasons)),
        method=(
            "Every rating in the records counts, also of criteria that were not meant to be rated in a "
            "lesson. "
            "The shares are full counts of the records, so they have no interval. An empty cell of a "
            "form counts "
            "as left empty.",
        ),
        caution=(
            "A criterion that could not be seen is rightly left without a level. A share that is high "
            "for one "
            "rater is a reason to ask what was observed, not a fault.",
        ),
    )


def _answer(row: pd.Series) -> str:
    who = sentence(raters_of(str(row["rater_role"])))
    n = int(row["n_without_level"])
    if not n:
        return f"{who} gave a level in every rating."
    most = max(REASONS, key=lambda name: row[name])
    return (
        f"{who} left {n:,} of {count(int(row['n_ratings']), 'rating')} without a level "
        f"({number(row['share'], 'share')}\N{NO-BREAK SPACE}%), mostly: {REASONS[most].lower()}."
    )


def _columns(*first: Column, reasons: tuple[Column, ...]) -> tuple[Column, ...]:
    return (
        *first,
        counted("n_candidates", "Candidates", "people"),
        counted("n_ratings", "Ratings", "ratings"),
        counted("n_without_level", "Without a level", "ratings"),
        statistic("share", "Share", "share"),
        *reasons,
    )


def _roles(roles: pd.DataFrame, reasons: tuple[Column, ...]) -> Table:
    return Table(
        key="without-level-roles",
        title="Ratings without a level, by role and reason",
        data=roles.assign(role=roles["rater_role"].map(sentence)),
        columns=_columns(group("role", "Role"), counted("n_raters", "Raters", "raters"), reasons=reasons),
    )


def _raters(raters: pd.DataFrame, reasons: tuple[Column, ...]) -> Table:
    some = raters[raters["n_without_level"] > 0]
    return Table(
        key="without-level-raters",
        title="Raters with ratings without a level, in the order of their codes",
        data=some.assign(role=some["rater_role"].map(sentence)).reset_index(drop=True),
        columns=_columns(group("role", "Role"), group("rater", "Rater"), reasons=reasons),
        people=True,
    )
