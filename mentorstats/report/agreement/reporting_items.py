"""Section: what a report of an agreement study should contain, filled from the records, and the gaps."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.report.columns import group, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count

FILLED = {"data": "from the records", "given": "from study.toml", "missing": "missing"}
ABOUT = partial(
    Section,
    key="reporting-items",
    name="reporting items",
    question="What does a reader need to judge this study of agreement?",
)


def section(items: pd.DataFrame) -> Section:
    """Build the note from `mentorstats.agreement.reporting_items`."""
    data = items.reset_index()
    data["source"] = data["filled"].map(FILLED)
    data["told"] = data["text"].where(data["filled"] != "missing", data["prompt"])
    gaps = int((data["filled"] == "missing").sum())
    told = (
        f"Of {len(data)} items that such a report should contain, {gaps} {'is' if gaps == 1 else 'are'} "
        "missing. Write them into study.toml beside the exports."
        if gaps
        else f"All {count(len(data), 'item')} that such a report should contain are there."
    )
    table = Table(
        key="reporting-items-table",
        title="Guidelines for reporting reliability and agreement studies, item by item",
        data=data,
        columns=(
            text("part", "Part"),
            group("asks", "Item"),
            text("source", "Filled"),
            text("told", "Text, or what to write"),
        ),
        references=("kottner_2011",),
    )
    return ABOUT(detail=(told,), tables=(table,), references=("kottner_2011",))
