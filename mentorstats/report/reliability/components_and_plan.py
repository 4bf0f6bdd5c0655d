"""Section: how much of a score is the candidate, and which visits make it dependable."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.declared.vocabulary import interval_words
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.reliability import figures
from mentorstats.report import wording
from mentorstats.report.figures import plans as plan_figure
from mentorstats.report.model import Concern, Figure, Finding, Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.reliability import plan_tables, plan_words

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.analyse import Survey
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans

ABOUT = partial(
    Section,
    key="components-and-plan",
    name="dependability of scores",
    question="How many visits by how many raters make a score dependable?",
)


def section(found: Survey, links: Sequence[RoleLinks], rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.reliability.survey`.
    links
        From `mentorstats.calibration.networks.extra_scores_by_role.role_links`.
    rubrics
        ``Records.rubrics``, for the titles of the criteria.
    """
    plans = found.plans
    minimum = policy.rule("minimum_group_size")
    people = [plans.scores.table[name].nunique() for name in ("candidate", "rater")]
    if any(n > 0 and not minimum.met(n) for n in people):
        few = f"Not shown, because fewer than {minimum.value:g} candidates or raters have scores."
        return ABOUT(answer=few, status=Status.TOO_FEW_TO_SHOW)
    if plans.estimable.empty:
        nothing = " ".join(("No plan can be judged from these records.", *plans.notes))
        return ABOUT(answer=nothing, status=_status(plans))
    criteria, change = found.criteria, found.change
    tables = [
        plan_tables.main_plans(plans),
        plan_tables.components(plans),
        plan_tables.squares(plans),
        plan_tables.plans(plans),
    ]
    tables.append(plan_tables.criteria(criteria, plans, _titles(plans, rubrics)))
    if change is not None:
        tables.append(plan_tables.change(change))
    tables.append(plan_tables.links(links))
    return ABOUT(
        answer=_answer(plans),
        detail=_detail(plans, change, links),
        main=(plan_tables.MAIN_PLANS,),
        tables=tuple(table for table in tables if isinstance(table, Table)),
        figures=(
            Figure(
                key="plans-figure",
                title="Dependability by visits and raters",
                draw=lambda axes, _: figures.plans(plans, axes),
                alt=plan_figure.alt(plans),
                table=plan_tables.PLANS,
            ),
        ),
        findings=_findings(plans),
        method=_method(plans, change),
        references=("brennan_2001", "weerahandi_1993"),
        caution=(
            "Dependability is that of scores like these: given by raters like these, to candidates assigned "
            "to them as if at random. Where weaker candidates went to certain raters, severity and candidate "
            "quality are confounded, and no number of visits by the same rater separates them.",
            "The target is a convention: how dependable a score must be depends on its use.",
        ),
    )


def _titles(plans: VisitPlans, rubrics: pd.DataFrame) -> dict[str, str]:
    rows = plans.scores.rows
    if rows.empty or not {"rubric", "rubric_version"} <= set(rows.columns):
        return {}
    return wording.criterion_titles(rubrics, str(rows["rubric"].iloc[0]), str(rows["rubric_version"].iloc[0]))


def _status(plans: VisitPlans) -> Status:
    found = plans.study.status
    return found if found is not Status.OK else Status(str(plans.table["status"].iloc[0]))


def _answer(plans: VisitPlans) -> str:
    share = plan_words.candidate_share(plans)
    under = _under(plans)
    first = f"Under {under}, {share}" if under and share else share
    return " ".join(part for part in (first, plan_words.advice(plans)) if part)


def _detail(plans: VisitPlans, change: HalvesChange | None, links: Sequence[RoleLinks]) -> tuple[str, ...]:
    told = [plan_words.more(plans)]
    if change is not None:
        told.append(plan_words.change(change))
    told += [plan_words.linkage(one) for one in links if len(one.table)]
    return tuple(part for part in told if part)


def _findings(plans: VisitPlans) -> tuple[Finding, ...]:
    """Whether some plan of the table reaches the target, and which is the cheapest."""
    chosen = plans.chosen[plans.chosen["scenario"] == "as_estimated"]
    wanted = number(plans.target, "zero_one")
    under = _under(plans)
    concerns = f"all candidates under {under}" if under else "all candidates"
    if chosen.empty:
        return (
            Finding(
                concern=Concern.TOO_FEW_VISITS,
                what="No plan of visits in the table makes a candidate's score dependable enough.",
                how_sure=f"{plan_words.advice(plans)}",
                action="Add raters before visits, and work on agreement between raters.",
                concerns=concerns,
            ),
        )
    row = chosen.iloc[0]
    n_visits, n_raters = int(row["n_visits"]), int(row["n_raters"])
    return (
        Finding(
            concern=Concern.TOO_FEW_VISITS,
            what=f"A dependable score takes {count(n_visits, 'visit')} by {count(n_raters, 'rater')}.",
            how_sure=f"Its dependability is estimated at {plan_words.value(row)}; the programme asks "
            f"for {wanted}.",
            action="Compare this with the visits that candidates have now, and plan the difference.",
            concerns=concerns,
        ),
    )


def _under(plans: VisitPlans) -> str:
    """Which version the scores are of, where the records have one."""
    rows = plans.scores.rows
    if rows.empty or not {"rubric", "rubric_version"} <= set(rows.columns):
        return ""
    return wording.version(str(rows["rubric"].iloc[0]), str(rows["rubric_version"].iloc[0]))


def _method(plans: VisitPlans, change: HalvesChange | None) -> tuple[str, ...]:
    study = plans.study
    method = [
        "A score is the mean over criteria of the levels, counted 1, 2, 3, …, that one rater gave one "
        f"lesson. Its variance is divided by the design {study.design.text}. Dependability is the "
        "candidates' share of the variance of a mean score, with severity counted as error. In the plans "
        "each rater makes separate visits.",
        f"Brackets hold {plan_tables.percent(plans)} intervals; those of shares and dependability are "
        f"{interval_words([study.estimated.draw_method])[0]}.",
        " ".join(plans.notes),
    ]
    method.append(
        "Criteria are studied in the same way, one at a time. The correlation is between candidates' scores "
        "on the criterion and on the mean of the others, corrected for measurement error. Where it is near 1 "
        "the criterion adds no information, and reporting it separately adds only error."
    )
    if change is not None:
        method.append(
            "Change is the mean of a rater's visits in the second half of a placement minus that in the "
            "first, "
            "divided into candidates, raters and residual. The mean change of all candidates is not part of "
            "it. " + " ".join((*change.notes, *change.study.notes))
        )
    return tuple(method)
