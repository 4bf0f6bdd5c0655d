"""Section: which records stand behind the report, and which were set aside, and why."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.declared.vocabulary import RULES, meanings
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import counted, group, text
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, number

STEPS = {
    "has_level": "With a level",
    "of_either_role": "Given by a mentor or a supervisor",
    "other_role_too": "The other role rated the same criterion of the same lesson",
    "not_marked_dependent": "Neither rating is marked as not independent",
}
ABOUT = partial(
    Section, key="records-used", name="records used", question="Which records is this report based on?"
)
LOST = (
    "So many ratings were set aside that the rest may not represent the whole. A label or a code that the "
    "mapping does not know can remove a whole level, role or site, and every figure then describes a "
    "selection."
)
EFFECTS = {"stops": "reading stopped", "set_aside": "set aside", "notice": "kept, with a notice"}


def section(
    sources: pd.DataFrame,
    problems: pd.DataFrame,
    flow: pd.DataFrame,
    policy: Policy,
    breaks: pd.DataFrame | None = None,
) -> Section:
    """Build the section.

    Parameters
    ----------
    sources, problems
        ``Records.sources`` and ``Records.problems``.
    flow
        From `mentorstats.agreement.counts.flow.flow`.
    breaks
        From `mentorstats.records.crosswalk.breaks`.
    """
    files = sources[sources["table"] == "ratings"]
    ratings = files[["rows_read", "rows_set_aside"]].sum()
    read, aside = int(ratings["rows_read"]), int(ratings["rows_set_aside"])
    compared = int(flow["n"].loc["other_role_too"])
    lost = _lost(files, policy.rule("set_aside_share"))
    set_aside = f"{aside:,} {'was' if aside == 1 else 'were'} set aside as faulty."
    return ABOUT(
        answer=f"The files hold {count(read, 'rating')}; {set_aside} {_compared(compared)}",
        main=("selection",),
        tables=(_steps(read, aside, flow), *_faults(problems)),
        findings=_findings(read, aside, lost, policy.rule("set_aside_share")),
        method=(
            "The filters of the first table apply to every rating in that order; a rating that fails one is "
            "excluded there. A rating whose independence was not recorded is kept. Faulty entries are set "
            "aside, never corrected; the files themselves are not changed.",
        ),
        caution=((LOST,) if lost else ()) + wording.breaks(breaks),
        verdict=Verdict.NOT_MET if lost else None,
    )


def _compared(n: int) -> str:
    if not n:
        return "No rating can be compared: no criterion of a lesson has a level from both roles."
    return f"{n:,} can be compared: a mentor and a supervisor rated the same criterion of a lesson."


def _findings(read: int, aside: int, lost: str, rule: Rule) -> tuple[Finding, ...]:
    if not read or not lost:
        return ()
    return (
        Finding(
            concern=Concern.RECORDS_UNUSABLE,
            what="Many ratings could not be used.",
            how_sure=f"{aside:,} of {count(read, 'rating')} were set aside as faulty "
            f"({_percent(aside / read)}); the policy allows {_percent(rule.value)} a file.",
            action="Run mentorstats check on the folder, correct the faults it lists, and make the "
            "report again.",
            concerns=lost,
        ),
    )


def _lost(files: pd.DataFrame, rule: Rule) -> str:
    """Name the files that lost more ratings than the policy allows, the worst first."""
    lost: list[tuple[float, str]] = []
    columns = (files[name].tolist() for name in ("file", "sheet", "rows_read", "rows_set_aside"))
    for file, sheet, read, aside in zip(*columns, strict=True):
        share = aside / max(read, 1)
        if not rule.met(share):
            lost.append((share, f"{file}, sheet {sheet}" if sheet else str(file)))
    lost.sort(reverse=True)
    return wording.listed([f"{name} ({_percent(share)})" for share, name in lost])


def _percent(share: float) -> str:
    return f"{number(share, 'share')}\N{NO-BREAK SPACE}%"


def _steps(read: int, aside: int, flow: pd.DataFrame) -> Table:
    first = pd.DataFrame(
        {
            "step": ["In the files", "Not faulty"],
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
            group("step", "Filter"),
            counted("n_left_out", "Excluded", "ratings"),
            counted("n", "Remaining", "ratings"),
        ),
    )


def _faults(problems: pd.DataFrame) -> list[Table]:
    if problems.empty:
        return []
    grouped = problems.groupby(["rule", "effect"], observed=True, dropna=False)
    found = grouped.agg(n=("row", "size"), files=("file", "nunique")).reset_index()
    return [
        Table(
            key="faults",
            title="Faults found while reading all tables",
            data=found.assign(
                effect=found["effect"].map(EFFECTS),
                rule=found["rule"].map(meanings(RULES)).fillna(found["rule"]),
            ),
            columns=(
                group("rule", "Fault"),
                text("effect", "What was done"),
                counted("n", "Faulty entries", "times"),
                counted("files", "Files", "number"),
            ),
            note="A faulty entry is one cell or one row of one file. The command check lists each with "
            "its file, sheet, row, column and remedy.",
        )
    ]
