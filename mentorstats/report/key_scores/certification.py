"""Section: whose certificate holds, by role, from the register of raters."""

from __future__ import annotations

import datetime

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.small_groups import blank

QUESTION = "Whose certificate holds?"
NO_REGISTER = (
    "No rater has a day of certification in the records, so nothing can be said. The table raters would fill "
    "this section: one row a rater, with the days certified_on and expires_on."
)
STANDINGS = {
    "valid": "holds",
    "ends_soon": "holds, but ends soon",
    "expired": "has ended",
    "not_yet": "begins later",
    "never": "no day recorded",
}


def section(found: pd.DataFrame, on: datetime.date | None, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.agreement.overview.standing`: one row a rater.
    on
        The day it is about.
    """
    if on is None or found.empty or found["certified_on"].isna().all():
        return Section(key="certificates", question=QUESTION, answer=NO_REGISTER, status=Status.NO_RECORDS)
    minimum, soon = policy.rule("minimum_group_size"), policy.rule("certificate_notice")
    ending = (found["standing"] == "valid") & found["days_left"].map(soon.met, na_action="ignore").eq(True)
    stands = found["standing"].astype("str").mask(ending.fillna(False), "ends_soon")
    table = blank(_table(found.assign(stands=stands)), minimum)
    return Section(
        key="certificates",
        question=QUESTION,
        answer=_answer(table, on, soon),
        tables=(table,),
        method=(
            "Raters are those who gave a level. A certificate holds from its day to its last day, both "
            f"included; it ends soon where {soon.value:g} days or fewer are left. In Python, "
            "mentorstats.agreement.certificates gives the standing of each rater by code.",
        ),
        caution=(
            "A certificate says that a rater once met the programme's rules, not how the rater rates now.",
        ),
    )


def _table(found: pd.DataFrame) -> Table:
    counted = found.groupby(["rater_role", "stands"], observed=True).size().rename("n_raters")
    data = counted.reset_index()
    data["role"] = data["rater_role"].astype("str").map(wording.sentence)
    data["order"] = data["stands"].map({name: place for place, name in enumerate(STANDINGS)})
    data["stands"] = data["stands"].map(STANDINGS)
    return Table(
        key="certificates-table",
        title="Raters by role and by how their certificate stands",
        data=data.sort_values(["role", "order"], ignore_index=True)[["role", "stands", "n_raters"]],
        labels={"role": "Role", "stands": "The certificate", "n_raters": "Raters"},
        units={"n_raters": "raters"},
        group_columns=("role", "stands"),
        count_columns=("n_raters",),
        lines=(("role",),),
    )


def _answer(table: Table, on: datetime.date, soon: Rule) -> str:
    """Sums over the roles, and none where the table hides a row: it could be worked out from them."""
    day = f"On {on.isoformat()}"
    if table.data["n_raters"].isna().any():
        return f"{day} some groups of raters are too few to show; how the others stand is in the table."
    counts = table.data.groupby("stands")["n_raters"].sum()

    def said(name: str, words: str) -> str:
        n = int(counts.get(STANDINGS[name], 0))
        return f"{n:,} {words}" if n else ""

    holds = sum(int(counts.get(STANDINGS[name], 0)) for name in ("valid", "ends_soon"))
    told = [
        said("ends_soon", f"of these end within {soon.value:g} days"),
        said("expired", "have ended"),
        said("not_yet", "begin later"),
        said("never", "have no day recorded"),
    ]
    rest = wording.listed([words for words in told if words])
    return (
        f"{day} the certificates of {holds:,} of {count(int(counts.sum()), 'rater')} who gave levels "
        f"hold{f'; {rest}' if rest else ''}."
    )
