"""Section: where mentor and supervisor differ, in size by criterion and in levels."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NO_PAIRS, in_brackets
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import counted, group, statistic
from mentorstats.report.figures.charts import level_grid, signed_differences
from mentorstats.report.model import Figure, Section, Table
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank

QUESTION = "Where do they differ?"


def section(found: pd.DataFrame, paired: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found, paired
        From `differences` and `paired_levels` of `mentorstats.agreement.overview`.
    rubrics
        ``Records.rubrics``, for the labels of the levels.
    """
    if found.empty:
        return Section(key="differences", question=QUESTION, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    minimum = policy.rule("minimum_group_size")
    tables, figures, sentences = [], [], []
    grids = {key[:2]: key[2] for key in versions(paired.reset_index())}
    data = found.rename_axis([*VERSION, "criterion"]).reset_index()
    for rubric, version, rows in versions(data):
        labels = wording.level_labels(rubrics, rubric, version)
        titles = wording.criterion_titles(rubrics, rubric, version)
        rows = rows.assign(criterion_words=rows["criterion"].astype("str").map(titles))
        size = blank(_sizes(rubric, version, rows, policy), minimum)
        grid = blank(_grid(rubric, version, grids[rubric, version], labels), minimum)
        tables += [size, grid]
        figures += [_size_figure(rubric, version, size), _grid_figure(rubric, version, grid, labels)]
        sentences.append(_phrase(wording.version(rubric, version), size.data))
    return Section(
        key="differences",
        question=QUESTION,
        answer=" ".join(sentences),
        tables=tuple(tables),
        figures=tuple(figures),
        method=(
            "The difference is the mentor's level minus the supervisor's on the same criterion of the same "
            "lesson, in steps of the rubric. Its interval takes all pairs of one candidate as belonging "
            "together, with Student's t on one degree of freedom fewer than candidates.",
            "Steps between neighbouring levels are counted as equal here; the grid of levels needs no such "
            "assumption.",
        ),
        references=("liang_zeger_1986",),
        caution=(
            "A difference says that the two roles differ, not which of them is right: mentors know the "
            "candidate and the class, supervisors see many classrooms. Only ratings against a key could "
            "tell.",
        ),
    )


def _sizes(rubric: str, version: str, rows: pd.DataFrame, policy: Policy) -> Table:
    kept = ["criterion", "criterion_words", "n_units", "n_clusters", "value"]
    companions = {"value_low": rows["low"], "value_high": rows["high"], "value_status": rows["status"]}
    return Table(
        key=wording.key("difference", rubric, version),
        title=f"Mentor's level minus supervisor's, {wording.version(rubric, version)}",
        data=rows[kept].assign(**companions).reset_index(drop=True),
        columns=(
            group("criterion", "Criterion"),
            counted("n_units", "Compared", "pairs"),
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
    for name in columns.values():
        data[f"{name}_status"] = (
            data["n_units"].gt(0).map({True: Status.OK.value, False: Status.NO_RECORDS.value})
        )
    return Table(
        key=wording.key("levels", rubric, version),
        title=f"Supervisor's level for each level the mentor gave, {wording.version(rubric, version)}",
        data=data,
        labels={
            "level": "Mentor's level",
            "n_units": "Compared",
            "n_candidates": "Candidates",
            **{columns[rank]: label for rank, label in labels.items()},
        },
        units={"n_units": "pairs", "n_candidates": "people", **dict.fromkeys(columns.values(), "share")},
        group_columns=("level",),
        count_columns=("n_units", "n_candidates"),
        statistic_columns=tuple(columns.values()),
        note="Each row adds up to 100\N{NO-BREAK SPACE}% but for rounding. All criteria together; a full "
        "count of the pairs, so without intervals.",
        folded=True,
    )


def _size_figure(rubric: str, version: str, table: Table) -> Figure:
    rows = table.data
    higher = [str(name) for name in rows.loc[rows["value_low"] > 0, "criterion"]]
    lower = [str(name) for name in rows.loc[rows["value_high"] < 0, "criterion"]]
    alt = (
        f"A dot with its interval for each of {count(len(rows), 'criterion', 'criteria')}, on a scale of "
        f"levels with zero marked. Mentors are clearly higher on {wording.listed(higher) or 'none'}, "
        f"supervisors on {wording.listed(lower) or 'none'}."
    )
    return Figure(
        key=f"{table.key}-figure",
        title=f"How far apart mentor and supervisor are, {wording.version(rubric, version)} (filled dot: the "
        "interval leaves out zero)",
        draw=lambda axes: signed_differences(axes, rows),
        alt=alt,
        table=table.key,
    )


def _grid_figure(rubric: str, version: str, table: Table, labels: dict[int, str]) -> Figure:
    shares = table.data.set_index("level")[[f"rank_{rank}" for rank in labels]].set_axis(
        list(labels.values()), axis=1
    )
    diagonal = zip(labels.values(), shares.to_numpy(dtype=float).diagonal(), strict=True)
    same = [
        f"{label} {number(share, 'share')}\N{NO-BREAK SPACE}%" for label, share in diagonal if share == share
    ]
    return Figure(
        key=f"{table.key}-figure",
        title="Which levels supervisors gave where mentors gave each level, "
        f"{wording.version(rubric, version)}",
        draw=lambda axes: level_grid(axes, shares),
        alt="A grid of mentor's level by supervisor's level. Same level given by both: "
        f"{wording.listed(same)}.",
        table=table.key,
    )


def _phrase(name: str, rows: pd.DataFrame) -> str:
    shown = rows[rows["value"].notna()]
    if shown.empty:
        return f"Under {name} no criterion has enough candidates to show a difference."
    of = f"of {count(len(shown), 'criterion', 'criteria')}"
    clear = {
        "mentors": int((shown["value_low"] > 0).sum()),
        "supervisors": int((shown["value_high"] < 0).sum()),
    }
    said = [f"{who} give clearly higher levels on {n} {of}" for who, n in clear.items() if n]
    beyond = shown[(shown["value_low"] > 0) | (shown["value_high"] < 0)]
    among = beyond if len(beyond) else shown
    largest = among.iloc[int(among["value"].abs().argmax())]
    size = estimate(largest["value"], largest["value_low"], largest["value_high"], "levels")
    which = "of these" if len(beyond) else "mean difference, which may be chance,"
    return (
        f"Under {name}, {wording.listed(said) or f'neither role gives clearly higher levels on any {of}'}; "
        f"the largest {which} is {size} of a level, on {_named(largest)}, in "
        f"{count(int(largest['n_units']), 'pair')}{_few(largest)}."
    )


def _few(row: pd.Series) -> str:
    return (
        " of few candidates, so the interval may be too narrow"
        if row["value_status"] == Status.FEW_CLUSTERS
        else ""
    )


def _named(row: pd.Series) -> str:
    """Code of a criterion, with its title where there is one."""
    words = row["criterion_words"]
    return str(row["criterion"]) if pd.isna(words) else f"{row['criterion']} (“{words}”)"
