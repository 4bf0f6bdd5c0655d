"""Do mentors and supervisors who watched the same lesson agree, and how surely do we know?

Reads    the long table of ratings, the declared levels of the rubrics, the list of faults.
Writes   rater-calibration.html, for use inside the programme.

Decisions
- Only ratings of the same lesson, rubric, version and criterion are compared; versions are never pooled.
- Pairs with a rating marked as not independent are left out of the main tables and shown beside them;
  a pair for which nothing was recorded counts as independent.
- Agreement is weighted quadratically; intervals take the ratings of one candidate as belonging together,
  and once, over all criteria, those of one supervisor as well.
- Groups with fewer people than the policy's minimum are blanked.
"""

from mentorstats import agreement
from mentorstats.agreement import overview
from mentorstats.policy import Policy
from mentorstats.records import Records
from mentorstats.report import (
    differences,
    double_scoring,
    key_scores,
    provenance,
    reading,
    records_used,
    role_agreement,
    run,
    single_scores,
    study_items,
    wording,
)
from mentorstats.report.model import Report


def report(records: Records, policy: Policy, *, seed: int = 0) -> Report:
    """Compare the two roles, and raters with the key. The seed is that of the simulated raters."""
    records.require("ratings", "observations", "placements")
    confidence = policy.value("confidence")
    long, rubrics = records.long(), records.rubrics
    pairs = agreement.double_scored(long)
    apart = pairs[pairs["independent"].fillna(True)]

    lessons = overview.lessons(long)
    flow = overview.flow(overview.checks(long))
    by_criterion = overview.by_version(apart, rubrics, confidence=confidence)
    overall = overview.by_version(apart, rubrics, by=(), confidence=confidence)
    overall_crossed = overview.by_version(
        apart, rubrics, by=(), cluster=("candidate", "supervisor"), confidence=confidence
    )
    overall_with_all = overview.by_version(pairs, rubrics, by=(), confidence=confidence)
    difference = overview.differences(apart, confidence=confidence)
    levels = overview.paired_levels(apart, rubrics)
    certified, chances = overview.key_scores(records.key_ratings, policy, confidence=confidence, seed=seed)
    items = agreement.reporting_items(
        overall, long=long, raters=records.raters, weights="quadratic", cluster="candidate"
    )

    sections = (
        records_used.section(records.sources, long, records.problems, flow, policy),
        double_scoring.section(
            overview.double_scoring(lessons),
            overview.double_scoring(lessons, by="cohort"),
            overview.double_scoring(lessons, by="site"),
            overview.double_scoring_by_role(long),
            policy,
        ),
        role_agreement.by_criterion(by_criterion, overall, rubrics, policy),
        role_agreement.independence(overall_with_all, overall, overall_crossed, pairs, policy),
        differences.section(difference, levels, rubrics, policy),
        single_scores.section(overview.single_scores(long, confidence=confidence, seed=seed), policy),
        key_scores.section(certified, chances, policy),
        reading.how_to_read(policy),
        reading.how_made(policy),
        reading.cautions(),
        study_items.section(items),
    )
    return Report(
        name="rater-calibration",
        title="Rater calibration",
        period=wording.period(long),
        sections=sections,
        provenance=provenance.of(records.sources, policy, seeds={"simulated raters": seed}),
    )


if __name__ == "__main__":
    run.script(report)
