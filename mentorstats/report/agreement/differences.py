"""Section: where mentors and supervisors differ, in size by criterion and in levels."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.drawings.charts import level_grid, signed_differences
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NEEDS_PAIRS, NO_PAIRS, in_brackets
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import STATUS, carried, counted, group, statistic
from mentorstats.report.model import Figure, Section, Table
from mentorstats.report.numbers import count, estimate, number

ABOUT = partial(
    Section,
    key="differences",
    name="differences between mentors and supervisors",
    question="Where do mentors and supervisors differ?",
)


def section(found: pd.DataFrame, paired: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found, paired
        From `differences` and `paired_levels` of `mentorstats.agreement.scores.level_differences`.
    rubrics
        ``Records.rubrics``, for the labels of the levels.
    """
    if found.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    minimum = policy.rule("minimum_group_size")
    grids = {key[:2]: key[2] for key in versions(paired.reset_index())}
    data = found.rename_axis([*VERSION, "criterion"]).reset_index()
    largest = data.groupby(VERSION, observed=True, as_index=False)[["n_clusters", "n_units"]].max()
    tables, figures, told = [], [], []
    for rubric, version in wording.newest_first(largest, "n_units", minimum):
        rows = data[(data["rubric"] == rubric) & (data["rubric_version"] == version)]
        labels = wording.level_labels(rubrics, rubric, version)
        titles = wording.criterion_titles(rubrics, rubric, version)
        rows = rows.assign(criterion_words=rows["criterion"].astype("str").map(titles))
        size, grid = (
            _sizes(rubric, version, rows, policy),
            _grid(rubric, version, grids[rubric, version], labels),
        )
        tables += [size, grid]
        figures += [
            _size_figure(rubric, version, size, minimum),
            _grid_figure(rubric, version, grid, labels, minimum),
        ]
        told.append(_phrase(wording.version(rubric, version), size.data, minimum))
    return ABOUT(
        answer=told[0],
        detail=tuple(told[1:]),
        main=(figures[0].key,),
        tables=tuple(tables),
        figures=tuple(figures),
        method=(
            "The difference is the mentor's level minus the supervisor's on the same criterion of the same "
            "lesson, in levels of the rubric. Its interval treats all pairs of one candidate as a cluster, "
            "with Student's t on one degree of freedom fewer than candidates.",
            "The mean difference takes the steps between neighbouring levels as equal; the grid of levels "
            "needs no such assumption.",
        ),
        references=("liang_zeger_1986",),
        caution=(
            "A difference does not say which role is right: mentors know the candidate and the class, "
            "supervisors see many classrooms. Only a comparison with expert scores could say.",
        ),
    )


def _sizes(rubric: str, version: str, rows: pd.DataFrame, policy: Policy) -> Table:
    kept = rows[["criterion", "criterion_words", "n_units", "n_clusters"]]
    values = rows.rename(columns={"low": "value_low", "high": "value_high"})
    return Table(
        key=wording.key("difference", rubric, version),
        title=f"Mentor's level minus supervisor's, {wording.version(rubric, version)}",
        data=kept.join(carried(values, {"value": "value"})).reset_index(drop=True),
        columns=(
            group("criterion", "Criterion"),
            counted("n_units", "Pairs", "pairs"),
            counted("n_clusters", "Candidates", "people"),
            statistic("value", "Mean difference", "levels"),
        ),
        note=f"Above zero: mentors gave the higher level. {in_brackets(policy)}",
    )


def _grid(rubric: str, version: str, paired: pd.DataFrame, labels: dict[int, str]) -> Table:
    shares = paired.pivot(index="rank_first", columns="rank_second", values="value")
    columns = {rank: f"rank_{rank}" for rank in labels}
    data = shares.rename(columns=columns).rename_axis(columns=None)
    data = data.join(paired.groupby("rank_first")[["n_units", "n_candidates"]].first())
    data = data.assign(level=[labels[int(rank)] for rank in data.index]).reset_index(drop=True)
    known = data["n_units"].gt(0).map({True: Status.OK.value, False: Status.NO_RECORDS.value})
    data = data.assign(**{name + STATUS: known for name in columns.values()})
    return Table(
        key=wording.key("levels", rubric, version),
        title=f"Supervisor's level for each level the mentor gave, {wording.version(rubric, version)}",
        data=data,
        columns=(
            group("level", "Mentor's level"),
            counted("n_units", "Pairs", "pairs"),
            counted("n_candidates", "Candidates", "people"),
            *(statistic(columns[rank], label, "share") for rank, label in labels.items()),
        ),
        note="Each row adds up to 100\N{NO-BREAK SPACE}% except for rounding. All criteria together; a full "
        "count of the pairs, so without intervals.",
    )


def _size_figure(rubric: str, version: str, table: Table, minimum: Rule) -> Figure:
    rows = table.data[table.data["n_clusters"].map(minimum.met)]
    higher = [str(name) for name in rows.loc[rows["value_low"] > 0, "criterion"]]
    lower = [str(name) for name in rows.loc[rows["value_high"] < 0, "criterion"]]
    alt = (
        f"A dot with its interval for each of {count(len(rows), 'criterion', 'criteria')}, on a scale of "
        f"levels with zero marked. Mentors are clearly higher on {wording.listed(higher) or 'no criterion'}, "
        f"supervisors on {wording.listed(lower) or 'no criterion'}."
    )
    return Figure(
        key=f"{table.key}-figure",
        title=f"Mentor's level minus supervisor's, {wording.version(rubric, version)} (filled dot: the "
        "interval excludes zero)",
        draw=signed_differences,
        alt=alt,
        table=table.key,
    )


def _grid_figure(rubric: str, version: str, table: Table, labels: dict[int, str], minimum: Rule) -> Figure:
    shown = table.data[table.data["n_candidates"].map(minimum.met)]
    percent = "\N{NO-BREAK SPACE}%"
    diagonal = zip(labels.values(), labels, strict=True)
    by_level = shown.set_index("level")
    same = [
        f"{label} {number(float(by_level[f'rank_{rank}'][label]), 'share')}{percent}"
        for label, rank in diagonal
        if label in by_level.index
    ]
    return Figure(
        key=f"{table.key}-figure",
        title=f"Supervisors' levels for each level that mentors gave, {wording.version(rubric, version)}",
        draw=lambda axes, data: level_grid(axes, _shares(data, labels)),
        alt="A grid of mentor's level by supervisor's level. Exact agreement by mentor's level: "
        f"{wording.listed(same) or 'not shown'}.",
        table=table.key,
    )


def _shares(rows: pd.DataFrame, labels: dict[int, str]) -> pd.DataFrame:
    """Mentor's level by supervisor's level, as shares of the row."""
    names = [f"rank_{rank}" for rank in labels]
    return rows.set_index("level")[names].set_axis(list(labels.values()), axis=1)


def _phrase(name: str, rows: pd.DataFrame, minimum: Rule) -> str:
    shown = rows[rows["value"].notna() & rows["n_clusters"].map(minimum.met)]
    if shown.empty:
        return f"Under {name}, no criterion has enough candidates to show a difference."
    of = f"of {count(len(shown), 'criterion', 'criteria')}"
    clear = {
        "mentors": int((shown["value_low"] > 0).sum()),
        "supervisors": int((shown["value_high"] < 0).sum()),
    }
    said = [f"{who} give clearly higher levels on {n} {of}" for who, n in clear.items() if n]
    if not said:
        return f"Under {name}, there is no clear difference on any criterion."
    beyond = shown[(shown["value_low"] > 0) | (shown["value_high"] < 0)]
    largest = beyond.iloc[int(beyond["value"].abs().argmax())]
    size = estimate(largest["value"], largest["value_low"], largest["value_high"], "levels")
    return (
        f"Under {name}, {wording.listed(said)}. The largest difference is {size} levels, on "
        f"{largest['criterion']}{_few(largest)}."
    )


def _few(row: pd.Series) -> str:
    few = row["value_status"] == Status.FEW_CLUSTERS
    return " (few candidates, so the interval may be too narrow)" if few else ""
