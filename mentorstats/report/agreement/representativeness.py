"""Section: whether double-scored lessons are representative of all lessons, and agreement weighted to all."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.agreement.reading.selection import ALIKE, RULE, WEIGHTED, Selection
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import COEFFICIENTS, COUNTS, NEEDS_PAIRS, NO_PAIRS, STATISTICS
from mentorstats.report.agreement.layout import spread
from mentorstats.report.columns import STATUS, counted, group, statistic
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, number

COLUMNS = {
    "cohort": "Cycle",
    "site": "Site",
    "licensure_area": "Licensure area",
    "grade_band": "Grades",
    "week": "Week of the placement",
    "visit_mode": "How the lesson was watched",
    "purpose": "Who taught",
}
MEAN = "mean"  # in place of a category, where numbers are compared
SETS = {ALIKE: "Unweighted", WEIGHTED: "Weighted to all lessons"}
ABOUT = partial(
    Section,
    key="representativeness",
    name="representativeness of double-scored lessons",
    question="Are double-scored lessons representative of all lessons?",
)


def section(found: Selection, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.selection.compare`."""
    if not found.n_compared:
        return _nothing(found)
    minimum = policy.rule("minimum_group_size")
    if not minimum.met(found.n_candidates):
        few = f"Not shown: the double-scored lessons are those of fewer than {minimum.value:g} candidates."
        return ABOUT(answer=few, verdict=Verdict.NOT_ASSESSED)
    compared = _compared(found)
    weighted = (_weighted(found),) if len(found.agreement) else ()
    return ABOUT(
        answer=_answer(found, compared.data[compared.data["n_candidates"].map(minimum.met)], policy),
        detail=_weighting(found, weighted, minimum),
        tables=(compared, *weighted),
        method=_method(found),
        references=("austin_2009", "cole_hernan_2008", "kish_1965", "sidak_1967"),
        caution=(
            "Weights correct for what the records say about the lessons and for nothing else. Whoever chose "
            "the lessons may have gone by something that nobody wrote down.",
        ),
        verdict=_verdict(found),
        findings=_findings(found),
    )


def _verdict(found: Selection) -> Verdict:
    """Say no only where some line passes what chance does to lessons drawn by lot."""
    if not found.n_beyond:
        return Verdict.YES
    parted = (found.likeness["status"] == Status.NO_SPREAD.value).any()
    beyond_chance = found.likeness["value"].abs().max() > found.by_chance
    return Verdict.NO if parted or beyond_chance else Verdict.NOT_CLEAR


def _findings(found: Selection) -> tuple[Finding, ...]:
    if _verdict(found) is not Verdict.NO:
        return ()
    return (
        Finding(
            concern=Concern.AGREEMENT,
            what="Double-scored lessons are not representative of all lessons.",
            how_sure="They differ by more than lessons chosen by lot would, so agreement on other lessons "
            "may be higher or lower.",
            action="Choose lessons for double-scoring by lot, spread over weeks, sites and raters; until "
            "then read the weighted agreement in the appendix.",
            concerns="agreement of mentors and supervisors",
        ),
    )


def _nothing(found: Selection) -> Section:
    some = int(found.likeness["n_double_scored"].max()) if len(found.likeness) else 0
    if some:
        return ABOUT(answer="Every lesson was rated by both roles.", verdict=Verdict.YES)
    return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)


def _method(found: Selection) -> tuple[str, ...]:
    first = (
        "The standardised difference is the difference of the means (of shares, for categories), divided by "
        "the root of the mean of both variances. Levels are compared for one role at a time: how far its "
        "ratings of a lesson are above its mean for the same criterion under the same version."
    )
    if found.weights is None:
        return (first,)
    return (
        first,
        "Each double-scored lesson is weighted by the inverse of its probability of being double-scored, "
        "from a logistic model of everything compared except levels; these enter as the mean level that the "
        "lesson was given. Weights above their 99th percentile are cut to it. The effective number is the "
        "number of equally weighted lessons that would be as precise. The intervals take the weights as "
        "known.",
    )


def _compared(found: Selection) -> Table:
    data = found.likeness.reset_index()
    data["what"] = [
        COLUMNS.get(name, f"Level, as rated by the {name.removeprefix('level_')}") for name in data["column"]
    ]
    data["category"] = data["category"].str.replace("_", " ").replace("", MEAN)
    for name in ("value", "value_weighted"):
        data[name + STATUS] = data["status"]
    after = (statistic("value_weighted", "Difference after weighting", "signed_deviations"),)
    return Table(
        key="representativeness-lines",
        title="Double-scored lessons compared with the others",
        data=data,
        columns=(
            group("what", "Compared on"),
            group("category", "Category"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_double_scored", "Double-scored lessons", "lessons"),
            counted("n_single_scored", "Other lessons", "lessons"),
            statistic("value", "Standardised difference", "signed_deviations"),
            *(after if data["value_weighted"].notna().any() else ()),
        ),
        note="Above zero: more, or higher, among double-scored lessons. Candidates are those of the "
        "category; lessons are all those with a record.",
        references=("austin_2009",),
        lines=(("what",),),
    )


def _answer(found: Selection, data: pd.DataFrame, policy: Policy) -> str:
    limit = f"{policy.value(RULE):g}"
    of = count(found.n_compared, "comparison")
    if not found.n_beyond:
        return f"No clear difference in {of}: none exceeds {limit} standard deviations."
    exceed = (
        f"{found.n_beyond} of {of} {'exceeds' if found.n_beyond == 1 else 'exceed'} {limit} standard "
        "deviations"
    )
    parted = data[data["status"] == Status.NO_SPREAD.value]
    if len(parted):
        where = wording.listed(sorted({what.lower() for what in parted["what"]}))
        return f"{exceed}. On {where} the two groups of lessons do not overlap at all."
    if data["value"].isna().all():
        return f"{exceed}."
    largest = data.iloc[int(data["value"].abs().argmax())]
    where = str(largest["what"]).lower() + (f", {largest['category']}" if largest["category"] != MEAN else "")
    return (
        f"{exceed}. The largest difference is {number(abs(largest['value']), 'distance')} ({where}). "
        "With lessons chosen by lot, the largest would exceed "
        f"{number(found.by_chance, 'distance')} about 1 time in 20."
    )


def _weighting(found: Selection, weighted: tuple[Table, ...], minimum: Rule) -> tuple[str, ...]:
    """What weighting does to kappa, a sentence a version."""
    if found.weights is None:
        return ()
    if not weighted:
        return (f"No weights could be computed. {found.weights.status_note or 'No pair has one.'}",)
    told = []
    for version, rows in weighted[0].data.groupby("version", sort=True):
        of = rows.set_index("lessons")
        if not of["n_clusters"].map(minimum.met).all() or of["kappa"].isna().any() or len(of) < len(SETS):
            continue
        before, after = (number(of["kappa"][SETS[name]], "coefficient") for name in (ALIKE, WEIGHTED))
        change = (
            f"makes no difference ({after})" if before == after else f"changes it from {before} to {after}"
        )
        told.append(f"Under {version}, weighting to all lessons {change}.")
    return (f"Weighted kappa over all criteria together: {' '.join(told)}",) if told else ()


def _weighted(found: Selection) -> Table:
    data = spread(found.agreement, COEFFICIENTS)
    kappa = found.agreement.xs("cohen_kappa", level="coefficient")["n_effective"]
    data["n_effective"] = kappa.to_numpy()
    data["lessons"] = data["ratings"].map(SETS)
    data["version"] = wording.versions_named(data)
    data = data.sort_values(["version", "ratings"], ascending=[True, False], ignore_index=True)
    return Table(
        key="representativeness-weighted",
        title="Agreement over all criteria together, unweighted and weighted",
        data=data,
        columns=(
            group("version", "Rubric version"),
            group("lessons", "Lessons"),
            *COUNTS,
            counted("n_effective", "Effective number", "lessons"),
            *STATISTICS,
        ),
        note="Pairs with a rating marked as not independent are excluded, and lessons without a weight.",
        references=("cole_hernan_2008", "kish_1965"),
    )
