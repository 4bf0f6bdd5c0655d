"""Section: whether double-scored lessons are like the rest, and agreement weighted where they are not."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.reading.selection import ALIKE, RULE, WEIGHTED, Selection
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import COEFFICIENTS, LABELS, NO_PAIRS, STATISTICS, UNITS
from mentorstats.report.agreement.layout import spread
from mentorstats.report.model import BOUNDS, STATUS, Section, Table, Verdict
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank

QUESTION = "Are the double-scored lessons like the rest?"
COLUMNS = {
    "cohort": "Cycle",
    "site": "Site",
    "licensure_area": "Licensure area",
    "grade_band": "Grades",
    "week": "Week of the placement",
    "visit_mode": "How it was watched",
    "purpose": "Who taught",
}
MEAN = "mean"  # in place of a category, where numbers are compared
SETS = {ALIKE: "Each lesson counts alike", WEIGHTED: "Weighted to all lessons"}


def section(found: Selection, policy: Policy) -> Section:
    """Build the section from `mentorstats.agreement.selection.compare`."""
    if not found.n_compared:
        return Section(key="alike", question=QUESTION, answer=_nothing(found), status=Status.NO_DOUBLE_SCORES)
    minimum = policy.rule("minimum_group_size")
    if not minimum.met(found.n_candidates):
        few = f"Not shown: the double-scored lessons are those of fewer than {minimum.value:g} candidates."
        return Section(key="alike", question=QUESTION, answer=few, verdict=Verdict.TOO_FEW)
    compared = blank(_compared(found), minimum)
    tables = [compared]
    if len(found.agreement):
        tables.append(blank(_weighted(found), minimum))
    return Section(
        key="alike",
        question=QUESTION,
        answer=f"{_answer(found, compared.data, policy)} {_mended(found, tables)}".strip(),
        tables=tuple(tables),
        method=_method(found),
        references=("austin_2009", "cole_hernan_2008", "kish_1965"),
        caution=(
            "Weights mend what the records tell of the lessons and nothing else: whoever chose the lessons "
            "may have gone by what nobody wrote down.",
        ),
        verdict=_verdict(found),
    )


def _verdict(found: Selection) -> Verdict:
    """Say no only where some line passes what chance does to lessons drawn by lot."""
    if not found.n_beyond:
        return Verdict.YES
    parted = (found.likeness["status"] == Status.NO_SPREAD.value).any()
    beyond_chance = found.likeness["value"].abs().max() > found.by_chance
    return Verdict.NO if parted or beyond_chance else Verdict.NOT_CLEAR


def _nothing(found: Selection) -> str:
    some = int(found.likeness["n_double_scored"].max()) if len(found.likeness) else 0
    return "Every lesson was rated by both roles, so there is no rest." if some else NO_PAIRS


def _method(found: Selection) -> tuple[str, ...]:
    first = (
        "The difference is that of the means (of shares, for categories), over the root of the mean of both "
        "variances. Levels are compared in the eyes of one role at a time: how far its ratings of a lesson "
        "lie above its mean for the same criterion under the same version."
    )
    if found.weights is None:
        return (first,)
    return (
        first,
        "Each double-scored lesson is weighted by the inverse of its probability of being one, from a "
        "logistic model of all that is compared but levels, in whose place stands the mean of the levels "
        "that a lesson was given by whoever rated it. Weights above their 99th percentile are cut to it. The "
        "effective number says how many equally weighted lessons would be as sure. The intervals take the "
        "weights as known.",
    )


def _compared(found: Selection) -> Table:
    data = found.likeness.reset_index()
    data["what"] = [
        COLUMNS.get(name, f"Level, in the eyes of the {name.removeprefix('level_')}")
        for name in data["column"]
    ]
    data["category"] = data["category"].str.replace("_", " ").replace("", MEAN)
    for name in ("value", "value_weighted"):
        data[name + STATUS] = data["status"]
        data[[name + bound for bound in BOUNDS]] = float("nan")
    weighted = {"value_weighted": "Left with weights"} if data["value_weighted"].notna().any() else {}
    return Table(
        key="alike-lines",
        title="Double-scored lessons beside the others",
        data=data,
        labels={
            "what": "Compared on",
            "category": "Category",
            "n_candidates": "Candidates",
            "n_double_scored": "Double-scored",
            "n_single_scored": "Others",
            "value": "Standardised difference",
            **weighted,
        },
        units={
            "n_candidates": "people",
            "n_double_scored": "lessons",
            "n_single_scored": "lessons",
            "value": "signed_deviations",
            "value_weighted": "signed_deviations",
        },
        group_columns=("what", "category"),
        count_columns=("n_candidates", "n_double_scored", "n_single_scored"),
        statistic_columns=("value", *weighted),
        note="Above zero: more, or higher, among double-scored lessons. Candidates are those of the "
        "category; lessons are all those for which the line is known.",
        references=("austin_2009",),
        folded=True,
        lines=(("what",),),
    )


def _answer(found: Selection, data: pd.DataFrame, policy: Policy) -> str:
    rule = policy.rule(RULE)
    limit, by_chance = f"{rule.value:g}", number(found.by_chance, "distance")
    lines = count(found.n_compared, "comparison")
    if not found.n_beyond:
        return (
            f"As far as the records tell: on none of {lines} do they differ by more than {limit} standard "
            "deviations."
        )
    parted = data[data["status"] == Status.NO_SPREAD.value]
    if len(parted):
        where = wording.listed(sorted({what.lower() for what in parted["what"]}))
        return f"On {found.n_beyond} of {lines} they differ, and {where} alone tells them apart."
    if data["value"].isna().all():
        return f"On {found.n_beyond} of {lines} they differ by more than {limit} standard deviations."
    largest = data.iloc[int(data["value"].abs().argmax())]
    where = str(largest["what"]).lower() + (f": {largest['category']}" if largest["category"] != MEAN else "")
    return (
        f"On {found.n_beyond} of {lines} they differ by more than {limit} standard deviations, at "
        f"most by {number(abs(largest['value']), 'distance')} ({where}). Had lessons been drawn by lot, one "
        f"comparison in twenty would pass {by_chance}."
    )


def _mended(found: Selection, tables: list[Table]) -> str:
    if found.weights is None:
        return ""
    if len(tables) == 1:
        return f"No weights could be made: {found.weights.status_note or 'no pair has one.'}"
    data = tables[1].data
    told = []
    for version, rows in data.groupby("version", sort=True):
        kappa = rows.set_index("lessons")["kappa"]
        plain, weighted = kappa.get(SETS[ALIKE]), kappa.get(SETS[WEIGHTED])
        if plain is None or weighted is None or pd.isna(plain) or pd.isna(weighted):
            continue
        pair = [number(value, "coefficient") for value in (plain, weighted)]
        told.append(f"from {pair[0]} to {pair[1]} under {version}")
    if not told:
        return ""
    return f"Weighting them to stand for all lessons moves weighted kappa {wording.listed(told)}."


def _weighted(found: Selection) -> Table:
    data = spread(found.agreement, COEFFICIENTS)
    kappa = found.agreement.xs("cohen_kappa", level="coefficient")["n_effective"]
    data["n_effective"] = kappa.to_numpy()
    data["lessons"] = data["ratings"].map(SETS)
    data["version"] = [
        wording.version(rubric, version)
        for rubric, version in zip(data["rubric"], data["rubric_version"], strict=True)
    ]
    data = data.sort_values(["version", "ratings"], ascending=[True, False], ignore_index=True)
    return Table(
        key="alike-weighted",
        title="Agreement over all criteria together, with and without weights",
        data=data,
        labels={
            "version": "Rubric version",
            "lessons": "Lessons",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            "n_effective": "Effective number",
            **LABELS,
        },
        units={**UNITS, "n_effective": "lessons"},
        group_columns=("version", "lessons"),
        count_columns=("n_units", "n_clusters", "n_effective"),
        statistic_columns=STATISTICS,
        note="Pairs with a rating marked as not independent are left out, and lessons without a weight.",
        references=("cole_hernan_2008", "kish_1965"),
    )
