"""Section: which records stand behind the report, and which were set aside, and why."""

from __future__ import annotations

import pandas as pd

from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import counted, group, text
from mentorstats.report.model import Section, Table, Verdict
from mentorstats.report.numbers import count, number
from mentorstats.report.render.vocabulary import RULES, meanings

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
LOST = (
    "So many ratings were set aside that those left may not stand for the whole: a label or a code that the "
    "mapping does not know can take out a whole level, role or site, and every figure below is then that of "
    "a selection. The command check lists the faults."
)
EFFECTS = {"stops": "reading stopped", "set_aside": "set aside", "notice": "kept, with a notice"}


def section(
    sources: pd.DataFrame, long: pd.DataFrame, problems: pd.DataFrame, flow: pd.DataFrame, policy: Policy
) -> Section:
    """Build the section.

    Parameters
    ----------
    sources, long, problems
        ``Records.sources``, ``Records.long()`` and ``Records.problems``.
    flow
        From `mentorstats.agreement.overview.flow`.
    """
    files = sources[sources["table"] == "ratings"]
    ratings = files[["rows_read", "rows_set_aside"]].sum()
    read, aside = int(ratings["rows_read"]), int(ratings["rows_set_aside"])
    compared = int(flow["n"].loc["other_role_too"])
    answer = (
        f"The files hold {count(read, 'rating')}, of which {aside:,} {'was' if aside == 1 else 'were'} set "
        f"aside as faulty. {_compared(compared)}"
    )
    lossy = _lossy(files, policy.rule("set_aside_share"))
    return Section(
        key="records-used",
        question="Which records stand behind this report?",
        answer=f"{answer} {lossy}".strip(),
        tables=(_steps(read, aside, flow), *_without_level(long), *_faults(problems)),
        method=(
            "Every rating is held to the lines of the first table in that order; one that fails is left "
            "out there. A rating whose independence was not recorded is kept. Faulty entries are set "
            "aside, never corrected; the files themselves are not changed.",
        ),
        caution=(LOST,) if lossy else (),
        verdict=Verdict.NOT_MET if lossy else None,
    )


def _compared(n: int) -> str:
    if not n:
        return "None can be compared: no criterion of a lesson is left with a level from both roles."
    return f"{n:,} can be compared, because a mentor and a supervisor rated the same criterion of a lesson."


def _lossy(files: pd.DataFrame, rule: Rule) -> str:
    """Name the files that lost more ratings than the policy allows, the worst first."""
    lost: list[tuple[float, str]] = []
    columns = (files[name].tolist() for name in ("file", "sheet", "rows_read", "rows_set_aside"))
    for file, sheet, read, aside in zip(*columns, strict=True):
        share = aside / max(read, 1)
        if not rule.met(share):
            lost.append((share, f"{file}, sheet {sheet}" if sheet else str(file)))
    lost.sort(reverse=True)
    if not lost:
        return ""
    named = wording.listed([f"{name} ({_percent(share)})" for share, name in lost])
    return (
        f"More than the {_percent(rule.value)} that the policy allows were set aside in {named}: mend the "
        "faults before reading on."
    )


def _percent(share: float) -> str:
    return f"{number(share, 'share')}\N{NO-BREAK SPACE}%"


def _steps(read: int, aside: int, flow: pd.DataFrame) -> Table:
    first = pd.DataFrame(
        {
            "step": ["Stands in the files", "Is not faulty"],
            "n_left_out": [0, aside],
            "n": [read, read - aside],
        }
    )
    rest = flow.assign(step=[STEPS[name] for name in flow.index])
    return Table(
        key="selection",
        title="From the ratings in the files to the ratings compared",
        data=pd.concat([first, rest], ignore_index=True),
        columns=(
            group("step", "Asked of each rating"),
            counted("n_left_out", "Left out here", "ratings"),
            counted("n", "Remain", "ratings"),
        ),
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
            columns=(
                group("reason", "Reason"),
                counted("n", "Number", "ratings"),
            ),
        )
    ]


def _faults(problems: pd.DataFrame) -> list[Table]:
    if problems.empty:
        return []
    grouped = problems.groupby(["rule", "effect"], observed=True, dropna=False)
    counted = grouped.agg(n=("row", "size"), files=("file", "nunique")).reset_index()
    return [
        Table(
            key="faults",
            title="Faults found while reading all tables",
            data=counted.assign(
                effect=counted["effect"].map(EFFECTS),
                rule=counted["rule"].map(meanings(RULES)).fillna(counted["rule"]),
            ),
            columns=(
                group("rule", "Fault"),
                text("effect", "What was done"),
                counted("n", "Found", "times"),
                counted("files", "Files", "number"),
            ),
            note="The command check lists each one with its file, sheet, row, column and remedy.",
        )
    ]
