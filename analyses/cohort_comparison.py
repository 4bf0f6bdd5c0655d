"""Do cohorts, sites and licensure areas differ, how do rated levels change, and are the records whole?

Reads    placements, observations, the long table of ratings and the declared levels of the rubrics.
Writes   cohort-comparison.html with its technical appendix, for use in the programme.

Decisions
- A placement without a status counts as completed; lessons are expected of completed placements only.
- Everything about levels comes from one ordinal model of all independent ratings; versions of a rubric are
  linked by criteria that the programme's crosswalk calls the same, and by nothing else.
- Change is that in rated level, over the weeks of rated lessons and no further; raters may drift too.
- A difference is shown beside what it would have been without adjustment, tested with its whole table
  allowed for, and held to the smallest difference that matters to the programme.
- Groups with fewer people than the policy's minimum are blanked; groups stand in the order of their codes and
  are never ranked.
"""

import datetime
from collections.abc import Mapping
from functools import cache

from mentorstats import programme
from mentorstats.policy import Policy
from mentorstats.records import Records, crosswalk
from mentorstats.report import provenance, run, wording
from mentorstats.report.model import Report
from mentorstats.report.notes import programme_limits
from mentorstats.report.parts import made
from mentorstats.report.programme import change, cohorts, coverage, next_records


def report(
    records: Records,
    policy: Policy,
    *,
    seed: int = 0,
    given: Mapping[str, str] | None = None,
    on: datetime.date | None = None,
) -> Report:
    """Compare cohorts, sites and areas, and describe change in rated level; nothing is drawn at random."""
    records.require("ratings", "observations", "placements")
    long = records.long()
    present = programme.expected_and_present(
        records.placements,
        records.observations,
        long,
        records.rubrics,
        lessons=int(policy.value("visits_expected")),
        late=policy.value("late_part"),
        confidence=policy.value("confidence"),
    )
    linked, breaks = records.linked(), crosswalk.breaks(long, records.crosswalk)
    model = cache(lambda: programme.fit_ratings(linked, confidence=policy.value("confidence")))
    target = int(policy.value("target_rank"))
    compared = cache(lambda: _compared(model(), policy))
    moved = cache(lambda: programme.rated_change(model(), target=target))
    n_raters = 0 if len(records.key_ratings) else long["rater"].nunique()  # re-scores are there already
    sections = made(
        {
            "Records": {
                coverage: lambda: (present, records.sources, policy),
            },
            "Cycles, sites and areas": {
                cohorts: lambda: (compared(), policy, breaks),
            },
            "Change over the placement": {
                change: lambda: (moved(), policy, breaks),
            },
            "What to record next": {
                next_records: lambda: (programme.what_next(present, compared(), moved(), n_raters=n_raters),),
            },
            "Notes": {
                programme_limits: tuple,
            },
        }
    )
    return Report(
        name="cohort-comparison",
        title="Cohort comparison",
        period=wording.period(long),
        sections=sections,
        provenance=provenance.of(records.sources, policy, seeds={}),
    )


def _compared(model: programme.RatingModel, policy: Policy) -> dict[str, programme.Comparison]:
    how = {
        "target": int(policy.value("target_rank")),
        "bound": policy.value("cohort_bound"),
        "alpha": policy.value("equivalence_alpha"),
    }
    return {by: programme.compare_groups(model, by=by, **how) for by in ("cohort", "site", "licensure_area")}


if __name__ == "__main__":
    run.script(report)
