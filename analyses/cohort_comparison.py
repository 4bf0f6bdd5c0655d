"""Do cohorts, sites and licensure areas differ, how do rated levels change, and are the records whole?

Reads    placements, observations, the long table of ratings and the declared levels of the rubrics.
Writes   cohort-comparison.html with its technical appendix, for use in the programme.

Decisions
- A placement without a status counts as completed; lessons are expected of completed placements only.
- Groups with fewer people than the policy's minimum are blanked; groups stand in the order of their codes and
  are never ranked.
"""

import datetime
from collections.abc import Mapping

from mentorstats import programme
from mentorstats.policy import Policy
from mentorstats.records import Records
from mentorstats.report import provenance, run, wording
from mentorstats.report.model import Report
from mentorstats.report.notes import programme_limits
from mentorstats.report.parts import made
from mentorstats.report.programme import coverage


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
    sections = made(
        {
            "Records": {
                coverage: lambda: (present, records.sources, policy),
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


if __name__ == "__main__":
    run.script(report)
