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
- Everything about single raters comes from one ordinal model of all independent ratings; what is asked
  beside it is added by one step, and limits are drawn from it without fitting again.
- What lets raters be compared stands before how they compare; calls on raters are made once, on all
  effects, by the policy's false-discovery rate and smallest effects.
- Groups with fewer people than the policy's minimum are blanked, groups of raters like groups of candidates.
"""

import datetime
from collections.abc import Mapping

from mentorstats import agreement, calibration, reliability
from mentorstats.calibration.networks.extra_scores_by_role import role_links
from mentorstats.policy import Policy
from mentorstats.records import Records
from mentorstats.report import provenance, run, wording
from mentorstats.report import sections as show
from mentorstats.report.calibration import adjusted
from mentorstats.report.model import Report, part

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
    long, rubrics, keyed = records.long(), records.rubrics, records.key_ratings
    tables = {"observations": records.observations, "key_ratings": keyed, "seed": seed}

    pair = agreement.survey(long, rubrics, policy, raters=records.raters, on=on, **tables)
    made = reliability.survey(long, rubrics, policy, seed=seed)
    cut = adjusted.cut(policy)
    who = calibration.survey(long, policy, placements=records.placements, cut=cut, **tables)
    linked, use, talks = who.linked, who.spread, who.talks
    told = {"long": long, "raters": records.raters, "given": given}
    items = agreement.reporting_items(pair.overall, **told, weights="quadratic", cluster="candidate")
    planned = {"criteria": made.criteria, "change": made.change, "links": role_links(made.plans.scores.table)}

    sections = (
        *part(
            "Records",
            show.records_used(records.sources, long, records.problems, pair.flow, policy),
            show.double_scoring(pair.lessons, policy),
        ),
        *part(
            "Agreement of two raters of one lesson",
            show.by_criterion(pair.by_criterion, pair.overall, rubrics, policy),
            show.claims(pair.words, pair.odd, rubrics, policy),
            show.independence(pair.with_all, pair.overall, pair.crossed, pair.pairs, policy),
            show.alike(pair.alike, policy),
            show.differences(pair.differences, pair.paired, rubrics, policy),
            show.levels_used(pair.levels, pair.shares, rubrics, policy),
            show.lesson_scores(pair.scores, policy),
            show.next_round(pair.next_round, policy),
        ),
        *part(
            "What a score is made of",
            show.single_scores(pair.single, policy),
            show.components_and_plan(made.plans, policy, rubrics=rubrics, **planned),
        ),
        *part(
            "Who rates how",
            show.networks(linked.all, linked.versions, linked.cohorts, policy),
            show.assignment(who.assigned, policy),
            show.severity(talks.tables["severity"], who.roles, talks.chance["severity"], policy),
            show.own_mentor(who.own_mentor, policy),
            show.drift(who.weeks, policy, cycles=who.cycles, trend=who.trend),
            show.spread_and_halo(use.central, use.restriction, use.halo, policy),
            show.rating_fit(use.by_information, use.by_response, use.criteria, use.levels, policy),
            show.talks(talks, policy),
            show.adjusted_scores(who.scores, policy),
        ),
        *part(
            "Raters beside the key",
            show.key_scores(pair.certified, pair.chances, policy),
            show.key_drift(who.charts, who.trend, policy),
            show.certificates(pair.standing, pair.day, policy),
        ),
        *part("Fairness", show.fairness(who.groups, policy), show.same_instrument(who.instrument, policy)),
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
