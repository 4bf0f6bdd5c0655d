"""Can ratings be trusted: do raters agree, are scores dependable, how do raters differ, and is it fair?

Reads    the long table of ratings, the declared levels of the rubrics, lessons, placements, the register of
         raters, ratings of recordings with expert scores, the list of faults, and study.toml.
Writes   rater-calibration.html with its technical appendix and a follow-up sheet, for use in the programme.

Decisions
- Only ratings of the same lesson, rubric, version and criterion are compared; versions are never pooled.
- Pairs with a rating marked as not independent are excluded from the main tables and compared separately;
  a pair for which nothing was recorded counts as independent.
- Agreement is weighted quadratically; intervals treat the ratings of one candidate as a cluster and, once,
  over all criteria, those of one supervisor as well.
- Where double-scored lessons are not representative, agreement is shown weighted to all lessons too.
- Everything about single raters comes from one ordinal model of all independent ratings; what is asked in
  addition is added by one step, and limits are drawn from it without fitting again.
- Which raters can be compared is reported before how they compare; raters are flagged once, on all effects,
  by the policy's false-discovery rate, smallest effects, and least numbers of candidates and lessons.
- Groups with fewer people than the policy's minimum are blanked, groups of raters like groups of candidates.
"""

import datetime
from collections.abc import Mapping

from mentorstats import agreement, calibration, key_scores, reliability
from mentorstats.calibration.networks.extra_scores_by_role import role_links
from mentorstats.policy import Policy
from mentorstats.records import Records, crosswalk
from mentorstats.report import provenance, run, wording
from mentorstats.report.agreement import (
    by_criterion,
    differences,
    double_scoring,
    in_words,
    independence,
    lesson_scores,
    levels_used,
    next_round,
    reporting_items,
    representativeness,
    single_scores,
    without_level,
)
from mentorstats.report.calibration import (
    adjusted,
    assignment,
    drift,
    fairness,
    follow_up,
    linkage,
    own_mentor,
    rating_fit,
    same_instrument,
    severity,
    spread_and_halo,
)
from mentorstats.report.key_scores import accuracy, certification, control_charts
from mentorstats.report.model import Report
from mentorstats.report.notes import limits, methods, reading
from mentorstats.report.parts import contained, made
from mentorstats.report.records import used
from mentorstats.report.reliability import components_and_plan

HOW = {"weights": "quadratic", "cluster": "candidate"}
DRAWN = ("simulated raters", "drawn variances", "drawn ratings")


def report(
    records: Records,
    policy: Policy,
    *,
    seed: int = 0,
    given: Mapping[str, str] | None = None,
    on: datetime.date | None = None,
) -> Report:
    """Compare the two roles, raters with each other and with expert scores.

    The seed is that of all that is drawn, ``given`` the text of study.toml, ``on`` the day on which
    certifications are looked at (the last one with a rating).
    """
    records.require("ratings", "observations", "placements")
    long, rubrics, lessons = records.long(), records.rubrics, records.observations
    pair = agreement.survey(long, rubrics, policy, observations=lessons, seed=seed)
    score = reliability.survey(long, rubrics, policy, seed=seed)
    expert = key_scores.survey(long, records.key_ratings, policy, raters=records.raters, on=on, seed=seed)
    cut, placed = adjusted.cut(policy), records.placements
    who = calibration.survey(long, policy, placements=placed, observations=lessons, cut=cut, seed=seed)
    changed, rescored = (crosswalk.breaks(t, records.crosswalk) for t in (long, records.key_ratings))
    study = {"long": long, "raters": records.raters, "given": given}

    sections = made(
        {
            "Records": {
                used: lambda: (records.sources, records.problems, pair.flow, policy, changed),
                without_level: lambda: (pair.gaps, policy),
                double_scoring: lambda: (pair.lessons, policy),
            },
            "Agreement of two raters of one lesson": {
                by_criterion: lambda: (pair.by_criterion, pair.overall, rubrics, policy),
                in_words: lambda: (pair.words, pair.paradoxes, rubrics, policy),
                differences: lambda: (pair.differences, pair.paired, rubrics, policy),
                levels_used: lambda: (pair.levels, pair.shares, rubrics, policy),
                lesson_scores: lambda: (pair.scores, policy),
                representativeness: lambda: (pair.representativeness, policy),
                independence: lambda: (pair.with_all, pair.overall, pair.crossed, pair.pairs, policy),
                next_round: lambda: (pair.next_round, policy),
            },
            "Dependability of scores": {
                single_scores: lambda: (pair.single, policy),
                components_and_plan: lambda: (score, role_links(score.plans.scores.table), rubrics, policy),
            },
            "Severity, consistency and drift of raters": {
                linkage: lambda: (who.linked, policy),
                assignment: lambda: (who.assigned, policy),
                follow_up: lambda: (who.flags, policy),
                severity: lambda: (who.flags, who.roles, policy),
                drift: lambda: (who.weeks, who.cycles, expert.trend, policy, changed),
                spread_and_halo: lambda: (who.spread, policy),
                rating_fit: lambda: (who.spread, policy),
                own_mentor: lambda: (who.own_mentor, policy),
                adjusted: lambda: (who.scores, policy),
            },
            "Accuracy against expert scores": {
                accuracy: lambda: (expert.certified, expert.chances, policy),
                control_charts: lambda: (expert.charts, expert.trend, policy, rescored),
                certification: lambda: (expert.standing, expert.day, policy),
            },
            "Fairness": {
                fairness: lambda: (who.groups, policy),
                same_instrument: lambda: (who.instrument, policy),
            },
            "Notes": {
                reading: lambda: (policy,),
                methods: lambda: (policy,),
                limits: tuple,
                reporting_items: lambda: (agreement.reporting_items(pair.overall, **study, **HOW),),
            },
        }
    )
    return Report(
        name="rater-calibration",
        title="Rater calibration",
        period=wording.period(long),
        sections=sections,
        follow_up=contained(follow_up.SHEET, lambda: follow_up.sheet(who.flags, policy)),
        provenance=provenance.of(records.sources, policy, seeds=dict.fromkeys(DRAWN, seed)),
    )


if __name__ == "__main__":
    run.script(report)
