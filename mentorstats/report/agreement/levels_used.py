"""Section: whether both roles use the levels equally often."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.scores.marginal_homogeneity import CLUSTERED
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NEEDS_PAIRS, NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import STATUS, counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

TESTS = {
    CLUSTERED: statistic("adjusted", "p, clustered and adjusted", "p_value"),
    "bhapkar": statistic("bhapkar", "p, Bhapkar", "p_value"),
    "stuart_maxwell": statistic("stuart", "p, Stuart and Maxwell", "p_value"),
}
ABOUT = partial(
    Section,
    key="levels-used",
    name="use of levels by both roles",
    question="Do mentors and supervisors use the levels equally often?",
)


def section(tests: pd.DataFrame, shares: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    tests, shares
        From `levels_used` and `shares` of `mentorstats.agreement.between_roles`.
    rubrics
        ``Records.rubrics``.
    """
    if tests.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    minimum, alpha = policy.rule("minimum_group_size"), 1 - policy.value("confidence")
    of_shares = {key[:2]: key[2] for key in versions(shares.reset_index())}
    of_tests = {key[:2]: key[2] for key in versions(tests.reset_index())}
    largest = pd.concat(of_tests.values()).groupby(
        ["rubric", "rubric_version"], observed=True, as_index=False
    )
    tables, told = [], []
    for rubric, version in wording.newest_first(largest[["n_units", "n_clusters"]].max(), "n_units", minimum):
        labels = wording.level_labels(rubrics, rubric, version)
        key = rubric, version
        tables.append(_by_criterion(rubric, version, of_tests[key], of_shares[key], labels))
        told.append(_phrase(wording.version(rubric, version), tables[-1].data, labels, alpha, minimum))
    return ABOUT(
        answer=told[0],
        detail=tuple(told[1:]),
        tables=tuple(tables),
        method=(
            "Tests of marginal homogeneity: could both roles use all levels equally often on these pairs? "
            "Stuart and Maxwell's and Bhapkar's take pairs as independent. The first p-value, on which the "
            "answer rests, treats the pairs of one candidate as a cluster (the variance of the differences "
            "between candidates, Hotelling's statistic), and is adjusted for testing all criteria of a "
            "version (Benjamini and Hochberg).",
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
    for test, column in TESTS.items():
        found = of_test.loc[test].reindex(data["criterion"])
        data[column.name] = found["p_adjusted" if test == CLUSTERED else "p"].to_numpy()
        data[column.name + STATUS] = found["status"].to_numpy()
    first = of_test.loc[CLUSTERED].reindex(data["criterion"])
    data = data.assign(n_units=first["n_units"].to_numpy(), n_clusters=first["n_clusters"].to_numpy())
    return Table(
        key=wording.key("levels-used", rubric, version),
        title="How much more often mentors than supervisors gave each level, "
        f"{wording.version(rubric, version)}",
        data=data,
        columns=(
            group("criterion", "Criterion"),
            counted("n_units", "Pairs", "pairs"),
            counted("n_clusters", "Candidates", "people"),
            *(statistic(columns[rank], label, "points") for rank, label in labels.items()),
            *TESTS.values(),
        ),
        note="Above zero: mentors gave the level more often. Each row adds up to zero except for rounding.",
        references=("stuart_1955", "bhapkar_1966"),
    )


def _phrase(name: str, rows: pd.DataFrame, labels: dict[int, str], alpha: float, minimum: Rule) -> str:
    shown = rows[rows["adjusted"].notna() & rows["n_clusters"].map(minimum.met)]
    if shown.empty:
        return f"Under {name}, no criterion has enough candidates with disagreements for a test."
    clear = shown[shown["adjusted"] <= alpha]
    if clear.empty:
        return f"Under {name}, there is no clear difference on any criterion."
    gaps = clear[[f"rank_{rank}" for rank in labels]].to_numpy(dtype=float)
    at, place = divmod(int(abs(gaps).argmax()), len(labels))
    size, criterion = float(gaps[at, place]), clear["criterion"].iloc[at]
    return (
        f"Under {name}, use of levels differs on {len(clear)} of "
        f"{count(len(shown), 'criterion', 'criteria')}. The largest difference is on {criterion}: mentors "
        f"gave “{labels[place + 1]}” {number(abs(size), 'share')} percentage points "
        f"{'more' if size > 0 else 'less'} often."
    )
