"""Sections: whether both roles use the levels alike, and how far apart their scores of a lesson are."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.scores.marginal_homogeneity import CLUSTERED
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import BOUNDS, STATUS
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank

LEVELS = "Do both roles use the levels equally often?"
TOTALS = "How far apart are their scores of a lesson?"
TESTS = {CLUSTERED: "adjusted", "bhapkar": "bhapkar", "stuart_maxwell": "stuart"}


def levels(tests: pd.DataFrame, shares: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section on the use of levels.

    Parameters
    ----------
    tests, shares
        From `levels_used` and `shares` of `mentorstats.agreement.between_roles`.
    rubrics
        ``Records.rubrics``.
    """
    if tests.empty:
        return Section(key="levels-used", question=LEVELS, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    minimum, alpha = policy.rule("minimum_group_size"), 1 - policy.value("confidence")
    of_shares = {key[:2]: key[2] for key in versions(shares.reset_index())}
    tables, told = [], []
    for rubric, version, rows in versions(tests.reset_index()):
        labels = wording.level_labels(rubrics, rubric, version)
        made = _by_criterion(rubric, version, rows, of_shares[rubric, version], labels)
        tables.append(blank(made, minimum))
        told.append(_phrase(wording.version(rubric, version), tables[-1].data, labels, alpha))
    return Section(
        key="levels-used",
        question=LEVELS,
        answer=" ".join(told),
        tables=tuple(tables),
        method=(
            "Tests of marginal homogeneity: could both roles use all levels equally often on the pairs seen? "
            "Stuart and Maxwell's and Bhapkar's take pairs as independent. The first p-value, which the "
            "sentence above rests on, takes the pairs of one candidate as belonging together (the variance "
            "of the differences between candidates, Hotelling's statistic), and allows for testing all "
            "criteria of a version (Benjamini and Hochberg).",
        ),
        references=(
            "stuart_1955",
            "maxwell_1970",
            "bhapkar_1966",
            "liang_zeger_1986",
            "benjamini_hochberg_1995",
        ),
    )


def _by_criterion(
    rubric: str,
    version: str,
    rows: pd.DataFrame,
    shares: pd.DataFrame,
    labels: dict[int, str],
) -> Table:
    gap = (shares["share_first"] - shares["share_second"]).rename("gap")
    wide = shares.assign(gap=gap).pivot(index="criterion", columns="rank", values="gap")
    columns = {rank: f"rank_{rank}" for rank in labels}
    data = wide.rename(columns=columns).rename_axis(columns=None).reset_index()
    of_test = rows.set_index(["test", "criterion"])
    for test, name in TESTS.items():
        found = of_test.loc[test].reindex(data["criterion"])
        data[name] = found["p_adjusted" if test == CLUSTERED else "p"].to_numpy()
        data[name + STATUS] = found["status"].to_numpy()
    first = of_test.loc[CLUSTERED].reindex(data["criterion"])
    data = data.assign(
        n_units=first["n_units"].to_numpy(),
        n_clusters=first["n_clusters"].to_numpy(),
    )
    return Table(
        key=wording.key("levels-used", rubric, version),
        title=f"How much more often mentors than supervisors gave each level, "
        f"{wording.version(rubric, version)}",
        data=data,
        labels={
            "criterion": "Criterion",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            **{columns[rank]: label for rank, label in labels.items()},
            "adjusted": "p, clustered and adjusted",
            "bhapkar": "p, Bhapkar",
            "stuart": "p, Stuart and Maxwell",
        },
        units={
            "n_units": "pairs",
            "n_clusters": "people",
            **dict.fromkeys(columns.values(), "points"),
            **dict.fromkeys(TESTS.values(), "p_value"),
        },
        group_columns=("criterion",),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=(*columns.values(), *TESTS.values()),
        note="Above zero: mentors gave the level more often. A row adds up to zero but for rounding.",
        references=("stuart_1955", "bhapkar_1966"),
        folded=True,
    )


def _phrase(name: str, rows: pd.DataFrame, labels: dict[int, str], alpha: float) -> str:
    shown = rows[rows["adjusted"].notna()]
    if shown.empty:
        return f"Under {name} no criterion has enough candidates with disagreements to tell."
    clear = shown[shown["adjusted"] <= alpha]
    of = count(len(shown), "criterion", "criteria")
    if clear.empty:
        return f"Under {name} no difference beyond chance is seen on any of {of}."
    gaps = clear[[f"rank_{rank}" for rank in labels]].to_numpy(dtype=float)
    at, place = divmod(int(abs(gaps).argmax()), len(labels))
    size, criterion = float(gaps[at, place]), clear["criterion"].iloc[at]
    return (
        f"Under {name} they use the levels differently on {len(clear)} of {of}; the largest difference is in "
        f"“{labels[place + 1]}” on {criterion}, which mentors gave "
        f"{number(abs(size), 'share')} percentage points {'more' if size > 0 else 'less'} often."
    )


def totals(found: pd.DataFrame, policy: Policy) -> Section:
    """Build the section on scores of a lesson from `mentorstats.agreement.between_roles.lesson_agreement`."""
    if found.empty:
        return Section(key="lesson-scores", question=TOTALS, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    table = blank(_totals(found), policy.rule("minimum_group_size"))
    return Section(
        key="lesson-scores",
        question=TOTALS,
        answer=_limits(table.data),
        tables=(table,),
        method=(
            "A score is the mean level, counted 1, 2, 3, …, over the criteria that both raters of a lesson "
            "rated. Limits of agreement are the mean difference and 1.96 standard deviations to either side, "
            "between which 95 of 100 differences lie if they are normal. Intervals are made between "
            "candidates, with Student's t.",
            "Concordance is Kendall's W of the two scores of each lesson, corrected for ties: 1 where both "
            "roles put the lessons in the same order, about 0.5 where their orders have nothing to do with "
            "each other, 0 where they are opposite. It has no interval.",
        ),
        references=("bland_altman_1999", "kendall_smith_1939", "liang_zeger_1986"),
    )


NAMES = {"mean_difference": "mean", "lower_limit": "lower", "upper_limit": "upper", "kendall_w": "order"}


def _totals(found: pd.DataFrame) -> Table:
    rows = []
    for rubric, version, part in versions(found.reset_index()):
        of = part.set_index("coefficient")
        row: dict[str, object] = {
            "version": wording.version(rubric, version),
            "n_units": of.loc["mean_difference", "n_units"],
            "n_clusters": of.loc["mean_difference", "n_clusters"],
        }
        for coefficient, name in NAMES.items():
            sources = zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True)
            row |= {name + suffix: of.loc[coefficient].get(source) for suffix, source in sources}
        rows.append(row)
    data = pd.DataFrame(rows)
    data[["order" + bound for bound in BOUNDS]] = float("nan")
    return Table(
        key="lesson-scores-table",
        title="Mentor's score of a lesson minus supervisor's",
        data=data.astype(dict.fromkeys(("n_units", "n_clusters"), "Int64")),
        labels={
            "version": "Rubric version",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            "mean": "Mean difference",
            "lower": "Lower limit",
            "upper": "Upper limit",
            "order": "Concordance W",
        },
        units={
            "n_units": "pairs",
            "n_clusters": "people",
            **dict.fromkeys(("mean", "lower", "upper"), "levels"),
            "order": "zero_one",
        },
        group_columns=("version",),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=tuple(NAMES.values()),
        note="Compared are pairs of a mentor's and a supervisor's score of one lesson.",
        references=("bland_altman_1999", "kendall_smith_1939"),
    )


def _limits(data: pd.DataFrame) -> str:
    shown = data[data["lower"].notna()]
    if shown.empty:
        return "No version has enough candidates with lessons scored by both roles to say."
    told = [
        f"from {_away(row['lower'])} to {_away(row['upper'])} the supervisor's under {row['version']} "
        f"(mean {estimate(row['mean'], row['mean_low'], row['mean_high'], 'levels')})"
        for _, row in shown.iterrows()
    ]
    return f"For 95 of 100 lessons the mentor's mean level lies {wording.listed(told)}."


def _away(value: float) -> str:
    return f"{number(abs(value), 'distance')} {'above' if value > 0 else 'below'}"
