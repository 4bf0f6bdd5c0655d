"""Did mentoring happen as agreed: visits, conferences, lessons to watch?

Reads    lessons, placements, ratings (for whose lessons are visits), and the rules of the policy.
Writes   mentoring-practice.html with its technical appendix, for use in the programme.

Decisions
- Rules are those of the policy; a programme sets its own in policy.toml.
- What was not recorded is left out and counted, never taken as not done; where that cannot be told apart,
  the section says so.
- Results describe the programme and its sites, never single people, and nothing is ranked.
- Groups with fewer people than the policy's minimum are blanked.
"""

import datetime
from collections.abc import Mapping

from mentorstats import programme
from mentorstats.policy import Policy
from mentorstats.records import Records
from mentorstats.report import provenance, run, wording
from mentorstats.report.model import Report
from mentorstats.report.parts import made
from mentorstats.report.programme import conferences, modelled


def report(
    records: Records,
    policy: Policy,
    *,
    seed: int = 0,
    given: Mapping[str, str] | None = None,
    on: datetime.date | None = None,
) -> Report:
    """Describe how candidates were mentored, beside what was agreed.

    Nothing is drawn at random or depends on the day: ``seed``, ``given`` and ``on`` change nothing.
    """
    records.require("observations", "placements")
    lessons, placed = records.observations, records.placements
    ratings = records.ratings if len(records.ratings) else None
    sections = made(
        {
            "Visits and conferences": {
                conferences: lambda: (
                    programme.visits_within_rules(lessons, placed, ratings, policy),
                    policy,
                ),
                modelled: lambda: (programme.modelled_lessons(lessons, placed, policy), policy),
            },
        }
    )
    return Report(
        name="mentoring-practice",
        title="Mentoring practice",
        period=wording.period(lessons.merge(placed[["placement", "cohort"]], on="placement", how="left")),
        sections=sections,
        provenance=provenance.of(records.sources, policy, seeds={}),
    )


if __name__ == "__main__":
    run.script(report)
