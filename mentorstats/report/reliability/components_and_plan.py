"""Section: what a candidate's score is made of, and how many visits by how many raters make it dependable."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.figures import plans as plan_figure
from mentorstats.report.model import Figure, Section, Table
from mentorstats.report.reliability import plan_tables, plan_words

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.reliability.plans.halves import HalvesChange
    from mentorstats.reliability.plans.visit_plans import VisitPlans

KEY = "components-and-plan"
QUESTION = "How much of a score is the candidate, and how many visits make it dependable?"


def section(
    plans: VisitPlans,
    policy: Policy,
    *,
    rubrics: pd.DataFrame | None = None,
    criteria: pd.DataFrame | None = None,
    change: HalvesChange | None = None,
    links: Sequence[RoleLinks] = (),
) -> Section:
    """Build the section.

    Parameters
    ----------
    plans
        From `mentorstats.reliability.plan.visit_plans`.
    rubrics
        ``Records.rubrics``, for the titles of the criteria.
    criteria
        From `mentorstats.reliability.singly.by_criterion`, for ``plans.size``.
    change
        From `mentorstats.reliability.halves.change_between_halves`.
    links
        From `mentorstats.calibration.linking.role_links`.
    """
    minimum = policy.rule("minimum_group_size")
    people = [plans.scores.table[name].nunique() for name in ("candidate", "rater")]
    if any(n > 0 and not minimum.met(n) for n in people):
        return _without(
            f"Fewer than {minimum.value:g} candidates or raters have scores under this version, so nothing "
            "is shown.",
            Status.TOO_FEW_TO_SHOW,
        )
    if plans.estimable.empty:
        return _without(f"No plan can be judged from these records. {' '.join(plans.notes)}", _status(plans))
    tables = [plan_tables.components(plans), plan_tables.squares(plans), plan_tables.plans(plans)]
    if criteria is not None:
        tables.append(plan_tables.criteria(criteria, plans, _titles(plans, rubrics)))
    if change is not None:
        tables.append(plan_tables.change(change))
    tables.append(plan_tables.links(links))
    return Section(
        key=KEY,
        question=QUESTION,
        answer=_answer(plans, change, links),
        tables=tuple(table for table in tables if isinstance(table, Table)),
        figures=(
            Figure(
                key="plans-figure",
                title="Dependability by visits and raters",
                draw=partial(plan_figure.draw, plans=plans),
                alt=plan_figure.alt(plans),
                table=plan_tables.PLANS,
            ),
        ),
        method=_method(plans, criteria is not None, change),
        references=("brennan_2001", "weerahandi_1993"),
        caution=(
            "Dependability is that of scores like these: given by raters like these, to candidates who came "
            "to them as if at random. Where weaker candidates went to certain raters, severity and candidate "
            "are mixed, and no number of visits by the same rater parts them.",
            "A target is a custom, not a law: what hangs on a score decides how dependable it has to be. The "
            "programme's own policy comes first, and no score alone decides about a person.",
        ),
    )


def _titles(plans: VisitPlans, rubrics: pd.DataFrame | None) -> dict[str, str]:
    rows = plans.scores.rows
    if rubrics is None or rows.empty or not {"rubric", "rubric_version"} <= set(rows.columns):
        return {}
    return wording.criterion_titles(rubrics, str(rows["rubric"].iloc[0]), str(rows["rubric_version"].iloc[0]))


def _without(answer: str, status: Status) -> Section:
    return Section(key=KEY, question=QUESTION, answer=answer, status=status)


def _status(plans: VisitPlans) -> Status:
    found = plans.study.status
    return found if found is not Status.OK else Status(str(plans.table["status"].iloc[0]))


def _answer(plans: VisitPlans, change: HalvesChange | None, links: Sequence[RoleLinks]) -> str:
    parts = [f"{_whose(plans)}{plan_words.candidate_share(plans)}", plan_words.advice(plans)]
    if change is not None:
        parts.append(plan_words.change(change))
    for one in links:
        if len(one.table):
            parts.append(f"{plan_words.linkage(one).removesuffix(':')}.")
    return " ".join(wording.sentence(part) for part in parts if part)


def _whose(plans: VisitPlans) -> str:
    """Which version the scores are of, where the records tell."""
    rows = plans.scores.rows
    if rows.empty or not {"rubric", "rubric_version"} <= set(rows.columns):
        return ""
    name = wording.version(str(rows["rubric"].iloc[0]), str(rows["rubric_version"].iloc[0]))
    return f"{name}: "


def _method(plans: VisitPlans, singly: bool, change: HalvesChange | None) -> tuple[str, ...]:
    study = plans.study
    method = [
        "A score is the mean rank over criteria that one rater gave one lesson, levels counted 1, 2, 3, …. "
        f"Its variance is taken apart by the design {study.design.text}. Dependability is the candidates' "
        "part of the variance of a mean score, in which a rater's severity counts as error. In the plans "
        "every rater makes visits of their own.",
        f"Brackets hold {plan_tables.percent(plans)} intervals. Shares and dependability: quantiles over "
        "components as compatible with the records as those estimated "
        f"({study.estimated.draw_method.replace('_', ' ')}).",
        " ".join(plans.notes),
    ]
    if singly:
        method.append(
            "Criteria singly are studied in the same way, one by one. The correlation is that of candidates' "
            "scores on the criterion and on the mean of the others with error taken out; where it is near 1 "
            "the criterion tells nothing that the others do not, and reporting it singly adds only error."
        )
    if change is not None:
        method.append(
            "Change: mean of a rater's visits in the second half of a placement less that in the first, "
            "taken apart into candidates, raters and the rest. What all candidates gain together is not part "
            "of it. " + " ".join((*change.notes, *change.study.notes))
        )
    return tuple(method)
