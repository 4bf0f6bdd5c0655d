"""Section: agreement of mentor and supervisor by criterion."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.layout import above_zero, spread, versions
from mentorstats.report.columns import Column, counted, group, statistic, verdict
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number

COEFFICIENTS = {
    "percent_agreement": "exact",
    "percent_adjacent": "adjacent",
    "cohen_kappa": "kappa",
    "gwet_ac": "ac",
}
COUNTS = (counted("n_units", "Pairs", "pairs"), counted("n_clusters", "Candidates", "people"))
STATISTICS = (
    statistic("exact", "Exact agreement", "share"),
    statistic("exact_chance", "Expected by chance", "share"),
    statistic("adjacent", "Exact or adjacent", "share"),
    statistic("kappa", "Weighted kappa", "coefficient"),
    statistic("ac", "Gwet's AC2", "coefficient"),
)
REFERENCES = ("cohen_1968", "gwet_2014")
NO_PAIRS = "No lesson was rated by both a mentor and a supervisor under the same rubric version."
NEEDS_PAIRS = "ratings of the same lesson by both roles"
ABOUT = partial(
    Section, key="agreement", name="agreement by criterion", question="Do mentors and supervisors agree?"
)


def section(found: pd.DataFrame, overall: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found, overall
        From `mentorstats.agreement.coefficients.by_version.by_version`, by criterion and with ``by=()``.
    rubrics
        ``Records.rubrics``, for the titles of the criteria.
    """
    if found.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    data = spread(found, COEFFICIENTS)
    data["beyond"] = above_zero(data, "kappa")
    whole = wording.newest_first(spread(overall, COEFFICIENTS), "n_units", policy.rule("minimum_group_size"))
    titles = {
        (rubric, version): wording.criterion_titles(rubrics, rubric, version)
        for rubric, version, _ in versions(data)
    }
    tables = {
        (rubric, version): _table(rubric, version, rows, titles[rubric, version], policy)
        for rubric, version, rows in versions(data)
    }
    ordered = [tables[key] for key in whole if key in tables]
    return ABOUT(
        answer=_answer(whole, policy.rule("minimum_group_size")),
        detail=_detail(data),
        main=(ordered[0].key,),
        tables=tuple(ordered),
        findings=_findings(whole, policy),
        method=(
            "A pair is the mentor's and the supervisor's rating of one criterion of one lesson. Pairs with a "
            "rating marked as not independent are excluded here and compared in a section of their own. "
            "Agreement expected by chance is what two raters would reach who had not seen the lesson but "
            "used the levels as often as mentors and supervisors did. Weighted kappa and AC2 give part "
            "credit to near misses (quadratic weights); 0 is chance and 1 is complete agreement.",
            "Agreement is called beyond chance where the whole interval of weighted kappa is above 0. This "
            "is a low bar: it shows that the raters saw something in common, not that they agree closely.",
        ),
        references=("byrt_1993", "feinstein_cicchetti_1990"),
        caution=(
            "Where nearly all ratings are at one level, weighted kappa can be low although raters seldom "
            "differ. Read it together with AC2 and the percentages.",
        ),
    )


def in_brackets(policy: Policy) -> str:
    """Say what the brackets in a table hold."""
    percent = number(policy.value("confidence"), "share")
    return (
        f"In brackets: {percent}\N{NO-BREAK SPACE}% interval that treats the ratings of one candidate as a "
        "cluster."
    )


def _table(rubric: str, version: str, rows: pd.DataFrame, titles: dict[str, str], policy: Policy) -> Table:
    rows = rows.assign(criterion_words=rows["criterion"].astype("str").map(titles))
    columns: tuple[Column, ...] = (
        group("criterion", "Criterion"),
        *COUNTS,
        *STATISTICS,
        verdict("beyond", "Beyond chance"),
    )
    return Table(
        key=wording.key("agreement", rubric, version),
        title=f"Agreement by criterion, {wording.version(rubric, version)}",
        data=rows.reset_index(drop=True),
        columns=columns,
        note=in_brackets(policy),
        references=REFERENCES,
    )


def _answer(whole: dict[tuple[str, str], pd.Series], minimum: Rule) -> str:
    """One sentence a version that may be shown, newest first."""
    told = [
        _exact(wording.version(*key), row) for key, row in whole.items() if minimum.met(row["n_clusters"])
    ]
    hidden = [wording.version(*key) for key, row in whole.items() if not minimum.met(row["n_clusters"])]
    if hidden:
        told.append(
            f"{wording.listed(hidden)}: not shown, because fewer than {minimum.value:g} candidates have "
            "lessons rated by both."
        )
    return " ".join(told)


def _exact(name: str, row: pd.Series) -> str:
    exact = estimate(row["exact"], row["exact_low"], row["exact_high"], "share")
    chance = number(row["exact_chance"], "share")
    return f"Under {name}, exact agreement was {exact}; {chance}\N{NO-BREAK SPACE}% was expected by chance."


def _detail(data: pd.DataFrame) -> tuple[str, ...]:
    """Say on how many criteria agreement is beyond chance; nothing where none could be judged."""
    judged = data["beyond"].isin([Verdict.YES, Verdict.NO, Verdict.NOT_CLEAR])
    if not judged.any():
        return ()
    of = count(int(judged.sum()), "criterion", "criteria")
    clear = int(data["beyond"].eq(Verdict.YES).sum())
    return (f"Agreement is beyond chance on {clear} of {of}, each rubric version counted separately.",)


def _findings(whole: dict[tuple[str, str], pd.Series], policy: Policy) -> tuple[Finding, ...]:
    """Agreement of the newest version that may be shown, against what the programme asks."""
    minimum, floor = policy.rule("minimum_group_size"), policy.rule("agreement_floor")
    shown = [(key, row) for key, row in whole.items() if minimum.met(row["n_clusters"])]
    if not shown or pd.isna(shown[0][1]["kappa_low"]):
        return ()
    key, row = shown[0]
    kappa = estimate(row["kappa"], row["kappa_low"], row["kappa_high"], "coefficient")
    asked = number(floor.value, "coefficient")
    concerns = f"mentors and supervisors under {wording.version(*key)}"
    sure = f"Weighted kappa was {kappa}; the programme asks for more than {asked}."
    if row["kappa_high"] < floor.value:
        what, action = "Mentors and supervisors agree less than the programme asks.", TRAIN
    elif row["kappa_low"] > floor.value:
        what, action = "Mentors and supervisors agree as closely as the programme asks.", ""
    else:
        what, action = "It is undecided whether mentors and supervisors agree as closely as asked.", MORE
    return (Finding(concern=Concern.AGREEMENT, what=what, how_sure=sure, action=action, concerns=concerns),)


TRAIN = (
    "Rate two or three recorded lessons together, criterion by criterion, starting with the criteria on "
    "which agreement is lowest."
)
MORE = "Have more lessons rated by both before judging; the section on the next round says how many."
