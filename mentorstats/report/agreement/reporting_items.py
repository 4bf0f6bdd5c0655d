"""Section: what a report of an agreement study should tell, filled from the records, and the gaps."""

from __future__ import annotations

import pandas as pd

from mentorstats.report.columns import group, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count

FILLED = {"data": "from the records", "given": "from study.toml", "missing": "missing"}


def section(items: pd.DataFrame) -> Section:
    """Build the section from `mentorstats.agreement.reporting_items`."""
    data = items.reset_index()
    data["source"] = data["filled"].map(FILLED)
    data["told"] = data["text"].where(data["filled"] != "missing", data["prompt"])
    gaps = int((data["filled"] == "missing").sum())
    return Section(
        key="reporting-items",
        question="What does a reader need to judge this study of agreement?",
        answer=(
            f"Of {len(data)} items that such a report should have, {count(gaps, 'item')} "
            f"{'is' if gaps == 1 else 'are'} missing; write them into study.toml beside the exports."
            if gaps
            else f"All {len(data)} items that such a report should have are filled."
        ),
        tables=(
            Table(
                key="reporting-items-table",
                title="Guidelines for reporting reliability and agreement studies, item by item",
                data=data,
                columns=(
                    text("part", "Part"),
                    group("asks", "What is asked"),
                    text("source", "Filled"),
                    text("told", "Text, or what to write"),
                ),
                references=("kottner_2011",),
            ),
        ),
        references=("kottner_2011",),
    )
