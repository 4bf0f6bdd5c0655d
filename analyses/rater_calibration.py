"""Can ratings be trusted: do raters agree, what is a score made of, who rates how, and is it fair?

Reads    the long table of ratings, the declared levels of the rubrics, lessons, placements, the register of
         raters, the key-scored ratings, the list of faults, and study.toml.
Writes   rater-calibration.html, for use inside the programme.

Decisions
- Only ratings of the same lesson, rubric, version and criterion are compared; versions are never pooled.
- Pairs with a rating marked as not independent are left out of the main tables and shown beside them;
  a pair for which nothing was recorded counts as independent.
- Agreement is weighted quadratically; intervals take the ratings of one candidate as belonging together,
  and once, over all criteria, those of one supervisor as well.
- Where double-scored lessons are not like the rest, agreement is shown weighted to all lessons too.
- Everything about single raters comes from one ordinal model of all independent ratings; what is asked beside
  it is added to it by one step, and limits are drawn from it without fitting again.
- What lets raters be compared stands before how they compare; calls on raters are made once, on all effects,
  by the policy's false-discovery rate and smallest effects.
- Groups with fewer people than the policy's minimum are blanked, groups of raters like groups of candidates.
"""

import datetime
from collections.abc import Mapping

from mentorstats import agreement, calibration
from mentorstats.agreement import between_roles, claims, next_round, overview, selection
from mentorstats.calibration.linking import role_links
from mentorstats.policy import Policy
from mentorstats.records import Records
from mentorstats.reliability.halves import change_between_halves
from mentorstats.reliability.plan import visit_plans
from mentorstats.reliability.singly import by_criterion as each_criterion
from mentorstats.report import adjusted_scores, provenance, run, wording
from mentorstats.report import sections as show
from mentorstats.report.model import Report, part

CROSSED = ("candidate", "supervisor")
DRAWN = ("simulated raters", "drawn variances", "drawn ratings")


def report(
    records: Records,
    policy: Policy,
    *,
    seed: int = 0,
    given: Mapping[str, str] | None = None,
    on: datetime.date | None = None,
) -> Report:
    """Compare the two roles, raters with one another and with the key.

    The seed is that of all that is drawn, ``given`` the text of study.toml, ``on`` the day on which
    certificates are looked at (the last one with a rating).
    """
    records.require("ratings", "observations", "placements")
    confidence = policy.value("confidence")
    long, rubrics = records.long(), records.rubrics
    pairs = agreement.double_scored(long)
    apart = pairs[pairs["independent"].fillna(True)]
    day = on or overview.last_day(long)

    flow = overview.flow(overview.checks(long))
    by_criterion = overview.by_version(apart, rubrics, confidence=confidence)
    overall = overview.by_version(apart, rubrics, by=(), confidence=confidence)
    crossed = overview.by_version(apart, rubrics, by=(), cluster=CROSSED, confidence=confidence)
    with_all = overview.by_version(pairs, rubrics, by=(), confidence=confidence)
    lessons = selection.compare(long, apart, rubrics, policy, more=records.observations)
    words, odd = claims.in_words(by_criterion, policy), claims.paradoxes(apart, rubrics, policy)
    apart_by, paired = (
        overview.differences(apart, confidence=confidence),
        overview.paired_levels(apart, rubrics),
    )
    tests, shares = between_roles.levels_used(apart, rubrics), between_roles.shares(apart, rubrics)
    scores = between_roles.lesson_agreement(apart, confidence=confidence)
    single = overview.single_scores(long, confidence=confidence, seed=seed)
    certified, chances = overview.key_scores(records.key_ratings, policy, confidence=confidence, seed=seed)
    told = {"long": long, "raters": records.raters, "given": given}
    items = agreement.reporting_items(overall, **told, weights="quadratic", cluster="candidate")

    target, drawn = policy.value("target_dependability"), {"confidence": confidence, "seed": seed}
    plans = visit_plans(long, rubrics=rubrics, target=target, **drawn)
    planned = {
        "rubrics": rubrics,
        "criteria": each_criterion(plans.scores, *plans.size, **drawn),
        "change": change_between_halves(plans.scores, **drawn),
        "links": role_links(plans.scores.table),
    }
    found = calibration.survey(
        long,
        policy,
        placements=records.placements,
        observations=records.observations,
        key_ratings=records.key_ratings,
        cut=adjusted_scores.cut(policy),
        seed=seed,
    )
    linked, called, use = found.linked, found.talks, found.spread

    sections = (
        *part(
            "Records",
            show.records_used(records.sources, long, records.problems, flow, policy),
            show.double_scoring(overview.double_scores(long), policy),
        ),
        *part(
            "Agreement of two raters of one lesson",
            show.by_criterion(by_criterion, overall, rubrics, policy),
            show.claims(words, odd, rubrics, policy),
            show.independence(with_all, overall, crossed, pairs, policy),
            show.alike(lessons, policy),
            show.differences(apart_by, paired, rubrics, policy),
            show.levels_used(tests, shares, rubrics, policy),
            show.lesson_scores(scores, policy),
            show.next_round(next_round.needed(apart, rubrics, policy), policy),
        ),
        *part(
            "What a score is made of",
            show.single_scores(single, policy),
            show.components_and_plan(plans, policy, **planned),
        ),
        *part(
            "Who rates how",
            show.networks(linked.all, linked.versions, linked.cohorts, policy),
            show.assignment(found.assigned, policy),
            show.severity(called.tables["severity"], found.roles, called.chance["severity"], policy),
            show.own_mentor(found.own_mentor, policy),
            show.drift(found.weeks, policy, cycles=found.cycles, trend=found.trend),
            show.spread_and_halo(use.central, use.restriction, use.halo, policy),
            show.rating_fit(use.by_information, use.by_response, use.criteria, use.levels, policy),
            show.talks(called, policy),
            show.adjusted_scores(found.scores, policy),
        ),
        *part(
            "Raters beside the key",
            show.key_scores(certified, chances, policy),
            show.key_drift(found.charts, found.trend, policy),
            show.certificates(overview.standing(records.raters, long, on=day), day, policy),
        ),
        *part(
            "Fairness",
            show.fairness(found.groups, policy),
            show.same_instrument(found.instrument, policy),
        ),
        *part(
            "Reading and judging this report",
            show.how_to_read(policy),
            show.how_made(policy),
            show.cautions(),
            show.study_items(items),
        ),
    )
    return Report(
        name="rater-calibration",
        title="Rater calibration",
        period=wording.period(long),
        sections=sections,
        provenance=provenance.of(records.sources, policy, seeds=dict.fromkeys(DRAWN, seed)),
    )


if __name__ == "__main__":
    run.script(report)
