"""How many lessons did mentors teach for candidates to watch, when, and was each talked over?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.programme.conferences import MODELLED, dated_lessons
from mentorstats.programme.exact_shares import exact_shares

THIRDS = ("first", "second", "last")


@dataclass(frozen=True, slots=True)
class Modelled:
    """Lessons that a mentor taught for the candidate to watch.

    Attributes
    ----------
    status
        ``no_records`` where no such lesson is recorded: then nothing is known, not that there was none.
    n_lessons
        How many there are.
    placements
        Share of placements with at least as many as the policy asks for, all and by site (column ``site``,
        missing for all); columns of `exact_shares`, and ``median``, lessons of the placement in the middle.
    debriefed
        Share of these lessons with a debrief recorded; one row.
    thirds
        Lessons by third of the placement: third, n_lessons, n_candidates.
    """

    status: Status
    n_lessons: int
    placements: pd.DataFrame
    debriefed: pd.DataFrame
    thirds: pd.DataFrame


def modelled_lessons(observations: pd.DataFrame, placements: pd.DataFrame, policy: Policy) -> Modelled:
    """Count lessons with the purpose ``mentor_teaches``.

    Parameters
    ----------
    observations, placements
        Tables of the data dictionary; a placement without such a lesson counts with none.
    policy
        Its rows ``modelled_lessons`` and ``confidence``.
    """
    lessons = dated_lessons(observations, placements)
    lessons = lessons[lessons["purpose"].astype("str") == MODELLED]
    confidence, rule = policy.value("confidence"), policy.rule("modelled_lessons")
    placed = placements.reindex(columns=["placement", "candidate", "site"])
    counts = placed["placement"].map(lessons["placement"].value_counts()).fillna(0).astype(np.int64)
    judged = {n: rule.met(n) for n in counts.unique()}
    cases = placed.assign(n=counts, kept=counts.map(judged).astype("boolean"), all="all")
    parts = [
        exact_shares(cases, [by], confidence=confidence).assign(
            median=cases.groupby(by, dropna=False)["n"].median()
        )
        for by in ("all", "site")
    ]
    held = lessons.assign(kept=lessons["debrief_date"].notna().astype("boolean"), all="all")
    return Modelled(
        status=Status.OK if len(lessons) else Status.NO_RECORDS,
        n_lessons=len(lessons),
        placements=pd.concat([part.rename_axis("site").reset_index() for part in parts], ignore_index=True),
        debriefed=exact_shares(held, ["all"], confidence=confidence).reset_index(drop=True),
        thirds=_thirds(lessons),
    )


def _thirds(lessons: pd.DataFrame) -> pd.DataFrame:
    elapsed = (lessons["date"] - lessons["start"]) / (lessons["end"] - lessons["start"])
    third = pd.cut(elapsed.astype(float), [-np.inf, 1 / 3, 2 / 3, np.inf], labels=list(THIRDS))
    groups = lessons.groupby(third, observed=False)
    found = pd.DataFrame({"n_lessons": groups.size(), "n_candidates": groups["candidate"].nunique()})
    return found.rename_axis("third").reset_index().astype({"third": "str"})
