"""Sections: agreement of mentor and supervisor by criterion, and what dependent ratings change."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.layout import above_zero, spread, versions
from mentorstats.report.model import Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank

COEFFICIENTS = {
    "percent_agreement": "exact",
    "percent_adjacent": "adjacent",
    "cohen_kappa": "kappa",
    "gwet_ac": "ac",
}
LABELS = {
    "exact": "Same level",
    "adjacent": "At most one level apart",
    "exact_chance": "Same level by chance",
    "kappa": "Weighted kappa",
    "ac": "Gwet AC2",
}
UNITS = {
    "n_units": "pairs",
    "n_clusters": "people",
    "exact": "share",
    "adjacent": "share",
    "exact_chance": "share",
    "kappa": "coefficient",
    "ac": "coefficient",
    "beyond": "verdict",
}
STATISTICS = ("exact", "adjacent", "exact_chance", "kappa", "ac")
ALL, UNMARKED, CROSSED = "All pairs", "Without marked pairs", "The same, supervisors as clusters too"
REFERENCES = ("cohen_1968", "gwet_2014")
NO_PAIRS = (
    "No lesson was rated by both a mentor and a supervisor under the same rubric version, so nothing is "
    "known about their agreement. Ratings of the same lesson by both roles would fill this section."
)


def by_criterion(
    found: pd.DataFrame, overall: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy
) -> Section:
    """Agreement by criterion, one table a rubric version.

    Parameters
    ----------
    found, overall
        From `mentorstats.agreement.overview.by_version`, by criterion and with ``by=()``.
    rubrics
        ``Records.rubrics``, for the titles of the criteria.
    """
    question = "Do mentor and supervisor agree beyond chance?"
    if found.empty:
        return Section(key="agreement", question=question, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    data = spread(found, COEFFICIENTS)
    data["beyond"] = above_zero(data, "kappa")
    minimum = policy.rule("minimum_group_size")
    whole = {key[:2]: key[2].iloc[0] for key in versions(spread(overall, COEFFICIENTS))}
    tables = []
    for rubric, version, rows in versions(data):
        titles = wording.criterion_titles(rubrics, rubric, version)
        rows = rows.assign(criterion_words=rows["criterion"].astype("str").map(titles))
        tables.append(blank(_table(rubric, version, rows, policy), minimum))
    verdicts = [verdict for table in tables for verdict in table.data["beyond"] if verdict]
    return Section(
        key="agreement",
        question=question,
        answer=_answer(whole, verdicts, minimum),
        tables=tuple(tables),
        method=(
            "One pair is the mentor's and the supervisor's rating of one criterion of one lesson; pairs "
            "with a rating marked as not independent are left out here and shown further down. “By "
            "chance” is how often two raters who never saw the lesson would give the same level if each "
            "used the levels as often as mentors and supervisors did. Weighted kappa and AC2 give part "
            "credit to near misses (quadratic weights) and say how far agreement goes beyond chance: 0 is "
            "chance, 1 is complete.",
            "Agreement counts as beyond chance where the whole interval of weighted kappa lies above 0. "
            "That is a low bar: it says that the raters saw something in common, not that they agree "
            "closely.",
        ),
        references=("byrt_1993", "feinstein_cicchetti_1990"),
        caution=(
            "Where nearly all ratings share one level, weighted kappa can be low although raters seldom "
            "differ; AC2 and the percentages then tell more. Read the three together.",
        ),
        verdict=_verdict(verdicts),
    )


def independence(
    with_all: pd.DataFrame,
    without: pd.DataFrame,
    crossed: pd.DataFrame,
    pairs: pd.DataFrame,
    policy: Policy,
) -> Section:
    """Agreement of all pairs, of those not marked as dependent, and with supervisors as clusters too.

    Parameters
    ----------
    with_all, without, crossed
        From `mentorstats.agreement.overview.by_version` with ``by=()``; ``crossed`` is ``without``
        clustered by candidate and supervisor.
    pairs
        All pairs, from `mentorstats.agreement.double_scored`.
    """
    question = "Do dependent ratings or shared supervisors change the picture?"
    if pairs.empty:
        return Section(key="independence", question=question, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    # The column of people holds candidates in every row, so that it means one thing.
    sets = {ALL: with_all, UNMARKED: without, CROSSED: crossed.assign(n_clusters=without["n_clusters"])}
    parts = [spread(part, COEFFICIENTS).assign(pairs=name) for name, part in sets.items() if len(part)]
    data = pd.concat(parts, ignore_index=True).sort_values(VERSION, kind="stable", ignore_index=True)
    data["version"] = [
        wording.version(rubric, version)
        for rubric, version in zip(data["rubric"], data["rubric_version"], strict=True)
    ]
    table = Table(
        key="independence-table",
        title="Agreement over all criteria together, three ways",
        data=data,
        labels={
            "version": "Rubric version",
            "pairs": "Ratings",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            **LABELS,
        },
        units=UNITS,
        group_columns=("version", "pairs"),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=STATISTICS,
        note="Compare the rows of a version with each other. Over all criteria together the "
        "coefficients also credit raters for knowing which criteria are scored higher, so they are not "
        "those of one criterion.",
        references=REFERENCES,
    )
    table = blank(table, policy.rule("minimum_group_size"))
    return Section(
        key="independence",
        question=question,
        answer=_independence(pairs, table.data),
        tables=(table,),
        method=(
            "A rating agreed in conference, or given after seeing the other one, is not independent "
            "evidence. A pair is marked where either rating is; a pair for which nothing was recorded is "
            "kept in every row.",
            "Supervisors who rate several candidates carry their habits from one to the next. The third row "
            "of a version lets the ratings of one supervisor go together as well as those of one candidate; "
            "its values are those of the second row, only the intervals differ. They speak of supervisors "
            "like these; the others speak of these supervisors.",
        ),
        references=("ho_kane_2013", "cameron_2011"),
    )


def in_brackets(policy: Policy) -> str:
    """Say what the brackets in a table hold."""
    percent = number(policy.value("confidence"), "share")
    return (
        f"In brackets: {percent}\N{NO-BREAK SPACE}% interval that takes the ratings of one candidate (a "
        "cluster) as belonging together."
    )


def _table(rubric: str, version: str, rows: pd.DataFrame, policy: Policy) -> Table:
    return Table(
        key=wording.key("agreement", rubric, version),
        title=f"Agreement by criterion, {wording.version(rubric, version)}",
        data=rows.reset_index(drop=True),
        labels={
            "criterion": "Criterion",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            **LABELS,
            "beyond": "Beyond chance",
        },
        units=UNITS,
        group_columns=("criterion",),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=(*STATISTICS, "beyond"),
        note=in_brackets(policy),
        references=REFERENCES,
    )


def _answer(whole: dict[tuple[str, str], pd.Series], verdicts: list[str], minimum: Rule) -> str:
    shown = {key: row for key, row in whole.items() if minimum.met(row["n_clusters"])}
    hidden = [wording.version(*key) for key in whole if key not in shown]
    sentences = []
    if shown:
        same = [_same_level(wording.version(*key), row) for key, row in shown.items()]
        sentences.append(f"Mentor and supervisor gave the same level in {wording.listed(same)}.")
    if verdicts:
        of = count(len(verdicts), "criterion", "criteria")
        clear = verdicts.count(Verdict.YES)
        sentences.append(f"Agreement is clearly beyond chance on {clear} of {of}.")
    if hidden:
        sentences.append(
            f"Under {wording.listed(hidden)} fewer than {minimum.value:g} candidates have lessons rated by "
            "both, so nothing is shown."
        )
    return " ".join(sentences)


def _same_level(name: str, whole: pd.Series) -> str:
    exact = estimate(whole["exact"], whole["exact_low"], whole["exact_high"], "share")
    chance = number(whole["exact_chance"], "share")
    return (
        f"{exact} of {count(int(whole['n_units']), 'pair')} of ratings under {name} (chance alone: "
        f"{chance}\N{NO-BREAK SPACE}%; {count(int(whole['n_clusters']), 'candidate')})"
    )


def _verdict(verdicts: list[str]) -> Verdict:
    """Judge all criteria together: what holds of each, else ``not clear``."""
    if not verdicts:
        return Verdict.NOT_ASSESSED
    return Verdict(verdicts[0]) if len(set(verdicts)) == 1 else Verdict.NOT_CLEAR


def _independence(pairs: pd.DataFrame, data: pd.DataFrame) -> str:
    marked = pairs["independent"].eq(False).fillna(False)
    known = int(pairs["independent"].notna().sum())
    if known == 0:
        return (
            "The records do not say which ratings were made independently, so this cannot be judged; the "
            "field independent in the ratings would tell."
        )
    n = int(marked.sum())
    share = number(n / len(pairs), "share")
    start = f"{n:,} of {count(len(pairs), 'pair')} ({share}\N{NO-BREAK SPACE}%) are marked as not independent"
    if n == 0:
        return f"No pair of {len(pairs):,} is marked as not independent, so the first two rows are the same."
    changes = [_change(str(version), rows) for version, rows in data.groupby("version", sort=True)]
    return f"{start}; leaving them out moves the share of equal levels {wording.listed(changes)}."


def _change(version: str, rows: pd.DataFrame) -> str:
    exact = dict(zip(rows["pairs"], rows["exact"], strict=True))
    before, after = exact.get(ALL), exact.get(UNMARKED)
    if before is None or after is None or pd.isna(before) or pd.isna(after):
        return f"to nothing that can be computed under {version}"
    percent = "\N{NO-BREAK SPACE}%"
    return f"from {number(before, 'share')} to {number(after, 'share')}{percent} under {version}"
