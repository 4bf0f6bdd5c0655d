"""Section: lessons that mentors taught for candidates to watch."""

from __future__ import annotations

from functools import partial

from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.programme.modelled import Modelled
from mentorstats.report.columns import counted, group, statistic
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate
from mentorstats.report.programme.shares import share

ABOUT = partial(
    Section,
    key="modelled-lessons",
    name="lessons taught by the mentor for the candidate to watch",
    question="How many lessons did mentors teach for candidates to watch?",
)


def section(found: Modelled, policy: Policy) -> Section:
    """Build the section from `mentorstats.programme.modelled.modelled_lessons`."""
    if found.status is Status.NO_RECORDS:
        return ABOUT(
            answer="No lesson taught by the mentor is in the records.",
            status=found.status,
            needs="observations with the purpose mentor_teaches",
        )
    rule = policy.rule("modelled_lessons")
    total, debrief = found.placements.iloc[0], found.debriefed.iloc[0]
    have, held = (estimate(r["value"], r["low"], r["high"], "share") for r in (total, debrief))
    return ABOUT(
        answer=f"Mentors taught {count(found.n_lessons, 'lesson')} for candidates to watch. "
        f"Of all placements, {have} had at least {rule.value:g}. A debrief is recorded for {held}.",
        main=("modelled-placements",),
        tables=(_placements(found), _thirds(found)),
        method=(
            "Counted are observed lessons with the purpose “the mentor teaches”. A placement without one "
            "counts with none, so lessons that nobody wrote down look like lessons that were not taught. "
            "Intervals are exact for independent placements.",
        ),
        references=("clopper_pearson_1934",),
    )


def _placements(found: Modelled) -> Table:
    rows = found.placements
    data = rows[["site", "n_candidates", "n_units", "median"]].copy()
    data["total"] = data.index == 0
    data["site"] = data["site"].fillna("not recorded").mask(data["total"], "All sites")
    return Table(
        key="modelled-placements",
        title="Placements with enough lessons to watch, by site in the order of their names",
        data=data.join(share(rows)),
        columns=(
            group("site", "Site"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_units", "Placements", "number"),
            statistic("median", "Median lessons of a placement", "few"),
            statistic("share", "Placements with enough", "share"),
        ),
        lines=((),),
        total="total",
        references=("clopper_pearson_1934",),
    )


def _thirds(found: Modelled) -> Table:
    data = found.thirds.assign(third=[f"{name} third".capitalize() for name in found.thirds["third"]])
    return Table(
        key="modelled-thirds",
        title="When these lessons were taught",
        data=data,
        columns=(
            group("third", "Part of the placement"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_lessons", "Lessons", "lessons"),
        ),
        lines=((),),
    )
