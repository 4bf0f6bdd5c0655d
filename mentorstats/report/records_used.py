"""Section: which records stand behind the report, and which were set aside, and why."""

from __future__ import annotations

import pandas as pd

from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count

STEPS = {
    "has_level": "Has a level",
    "of_either_role": "Given by a mentor or a supervisor",
    "other_role_too": "The other role rated the same criterion of the same lesson",
    "not_marked_dependent": "Neither rating is marked as not independent",
}
REASONS = {
    "not_observed": "Not observed",
    "not_applicable": "Not applicable",
    "not_scored": "Left empty",
    "withheld": "Withheld",
}
EFFECTS = {"stops": "reading stopped", "set_aside": "set aside", "notice": "kept, with a notice"}


def section(long: pd.DataFrame, problems: pd.DataFrame, flow: pd.DataFrame) -> Section:
    """Build the section.

    Parameters
    ----------
    long, problems
        ``Records.long()`` and ``Records.problems``.
    flow
        From `mentorstats.agreement.overview.flow`.
    """
    compared = int(flow["n"].loc["other_role_too"])
    aside = int((problems["effect"] == "set_aside").sum())
    answer = (
        f"The files hold {count(len(long), 'usable rating')}; {compared:,} of them can be compared, because "
        "a mentor and a supervisor rated the same criterion of the same lesson. "
        f"{_aside(aside)}"
    )
    return Section(
        key="records-used",
        question="Which records stand behind this report?",
        answer=answer,
        tables=(_steps(len(long), flow), *_without_level(long), *_faults(problems)),
        method=(
            "Every rating is asked the questions of the first table in that order; one that fails is left "
            "out there. A rating whose independence was not recorded is kept. Faulty entries are set "
            "aside, never corrected; the files themselves are not changed.",
        ),
    )


def _aside(n: int) -> str:
    if n == 0:
        return "Nothing had to be set aside as faulty."
    return f"{count(n, 'faulty entry was', 'faulty entries were')} set aside."


def _steps(total: int, flow: pd.DataFrame) -> Table:
    first = pd.DataFrame({"step": ["Ratings read and kept"], "n_left_out": [0], "n": [total]})
    rest = flow.assign(step=[STEPS[name] for name in flow.index])
    return Table(
        key="selection",
        title="From the ratings in the files to the ratings compared",
        data=pd.concat([first, rest], ignore_index=True),
        labels={"step": "Question asked of each rating", "n_left_out": "Left out here", "n": "Remain"},
        units={"n_left_out": "ratings", "n": "ratings"},
        group_columns=("step",),
        count_columns=("n_left_out", "n"),
    )


def _without_level(long: pd.DataFrame) -> list[Table]:
    missing = long.loc[long["level"].isna(), "missing_reason"].astype("str")
    if missing.empty:
        return []
    counted = missing.map(REASONS).fillna("Reason not recorded").value_counts().sort_index()
    return [
        Table(
            key="without-level",
            title="Ratings without a level, by the reason recorded",
            data=counted.rename_axis("reason").reset_index(name="n"),
            labels={"reason": "Reason", "n": "Number"},
            units={"n": "ratings"},
            group_columns=("reason",),
            count_columns=("n",),
        )
    ]


def _faults(problems: pd.DataFrame) -> list[Table]:
    if problems.empty:
        return []
    grouped = problems.groupby(["problem", "effect"], observed=True, dropna=False)
    counted = grouped.agg(n=("row", "size"), files=("file", "nunique")).reset_index()
    return [
        Table(
            key="faults",
            title="Faults found while reading",
            data=counted.assign(
                effect=counted["effect"].map(EFFECTS),
                problem=counted["problem"].astype("str").str.replace("_", " "),
            ),
            labels={"problem": "Fault", "effect": "What was done", "n": "Times", "files": "Files"},
            units={"n": "times", "files": "number"},
            group_columns=("problem",),
            count_columns=("n", "files"),
            note="The command check lists each one with its file, sheet, row, column and remedy.",
        )
    ]
