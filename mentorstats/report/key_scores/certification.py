"""Section: whose certification is current, by role, from the register of raters."""

from __future__ import annotations

import datetime
from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.columns import counted, group
from mentorstats.report.model import Concern, Finding, Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.small_groups import blank

STANDINGS = {
    "valid": "current",
    "ends_soon": "current, ending soon",
    "expired": "expired",
    "not_yet": "starts later",
    "never": "no certification date",
}
ABOUT = partial(Section, key="certificates", name="certification", question="Whose certification is current?")
NEEDS = "the table raters with the days certified_on and expires_on"


def section(found: pd.DataFrame, on: datetime.date | None, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.key_scores.analyse.standing`: one row a rater.
    on
        The day it is about.
    """
    if on is None or found.empty or found["certified_on"].isna().all():
        nothing = "No rater has a certification date in the records."
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs=NEEDS)
    minimum, soon = policy.rule("minimum_group_size"), policy.rule("certificate_notice")
    ending = (found["standing"] == "valid") & found["days_left"].map(soon.met, na_action="ignore").eq(True)
    stands = found["standing"].astype("str").mask(ending.fillna(False), "ends_soon")
    table = _table(found.assign(stands=stands))
    hidden = blank(table, minimum) is not table  # sums over the roles would give the hidden rows back
    return ABOUT(
        answer=_answer(stands, on, hidden),
        main=("certificates-table",),
        tables=(table,),
        findings=_findings(stands, on, soon, hidden),
        method=(
            "Raters are those who gave a level. A certification is current from its first day to its last, "
            f"both included; it is ending soon where {soon.value:g} days or fewer are left. In Python, "
            "mentorstats.key_scores.certificates lists raters by code.",
        ),
        caution=(
            "Certification says that a rater once met the programme's rules, not how the rater rates now.",
        ),
    )


def _table(found: pd.DataFrame) -> Table:
    data = found.groupby(["rater_role", "stands"], observed=True).size().rename("n_raters").reset_index()
    data["role"] = data["rater_role"].astype("str").map(wording.sentence)
    data["order"] = data["stands"].map({name: place for place, name in enumerate(STANDINGS)})
    data["stands"] = data["stands"].map(STANDINGS)
    return Table(
        key="certificates-table",
        title="Raters by role and certification",
        data=data.sort_values(["role", "order"], ignore_index=True)[["role", "stands", "n_raters"]],
        columns=(
            group("role", "Role"),
            group("stands", "Certification"),
            counted("n_raters", "Raters", "raters"),
        ),
        lines=(("role",), ()),
    )


def _answer(stands: pd.Series, on: datetime.date, hidden: bool) -> str:
    if hidden:
        return (
            f"On {on.isoformat()}, some groups of raters are too small to show; the table shows how many of "
            "the others had a current certification."
        )
    counts = stands.value_counts()
    current = int(counts.get("valid", 0)) + int(counts.get("ends_soon", 0))
    return (
        f"On {on.isoformat()}, certification was current for {current:,} of {count(len(stands), 'rater')} "
        "who gave levels."
    )


def _findings(stands: pd.Series, on: datetime.date, soon: Rule, hidden: bool) -> tuple[Finding, ...]:
    """Certifications that have expired or are about to."""
    expired, ending = (int((stands == name).sum()) for name in ("expired", "ends_soon"))
    if not expired and not ending:
        return ()
    told = [
        f"{'some' if hidden else f'{n:,}'} {words}"
        for n, words in ((expired, "expired"), (ending, f"ending within {soon.value:g} days"))
        if n
    ]
    return (
        Finding(
            concern=Concern.CERTIFICATION,
            what="Some certifications need renewal.",
            how_sure=f"A full count of the register on {on.isoformat()}: {wording.listed(told)}.",
            action="Invite these raters to the next certification session.",
            concerns="raters who gave levels",
        ),
    )
