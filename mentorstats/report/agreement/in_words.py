"""Section: what agreement may be called in an author's words, and where a high percent hides a low kappa."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.reading.in_words import Words
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import BOUNDS, STATUS
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number
from mentorstats.report.small_groups import blank

QUESTION = "What may that agreement be called?"


def section(words: Words, paradoxes: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    words, paradoxes
        From `in_words` and `paradoxes` of `mentorstats.agreement.claims`.
    rubrics
        ``Records.rubrics``, for the titles of criteria and the labels of levels.
    """
    if words.read.empty:
        return Section(key="claims", question=QUESTION, answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES)
    minimum = policy.rule("minimum_group_size")
    called = [
        blank(_words(rubric, version, rows, words), minimum)
        for rubric, version, rows in versions(words.read.reset_index())
    ]
    odd = (
        [
            blank(_paradoxes(rubric, version, rows, rubrics), minimum)
            for rubric, version, rows in versions(paradoxes.reset_index())
        ]
        if len(paradoxes)
        else []
    )
    probability = number(policy.value("agreement_words_probability"), "share")
    return Section(
        key="claims",
        question=QUESTION,
        answer=f"{_called(called, words, probability)} {_alarms(odd)}",
        tables=(*called, *odd),
        method=(
            f"The policy chose the words of {words.scale.author} ({_bands(words)}). They are a convention, "
            "made with unweighted kappa in mind; with quadratic weights kappa is as a rule higher for the "
            f"same ratings. A criterion may be called by a word where kappa lies in its band or a better one "
            f"with a probability of {probability}\N{NO-BREAK SPACE}% or more, given its standard error; that "
            "says less than the word for the value itself.",
            "High agreement with a low kappa, of exact levels here, comes about where nearly all ratings "
            "share one level. The prevalence index is the share of pairs in which both roles chose the level "
            "less the share in which neither did; the bias index is how much more often the mentor chose it. "
            "Far from zero, the first pulls kappa down and the second up.",
        ),
        references=(words.scale.reference, "gwet_2014", "byrt_1993", "feinstein_cicchetti_1990"),
        caution=("A word is no verdict: what agreement must be depends on what the scores are used for.",),
    )


def _words(rubric: str, version: str, rows: pd.DataFrame, words: Words) -> Table:
    bands = words.scale.labels[:0:-1]  # best first; everything is at least the lowest
    data = rows.assign(
        interval_in_words=[_between(*pair) for pair in zip(rows["band_low"], rows["band_high"], strict=True)],
        assured=rows["band_assured"].fillna(""),
        kappa=rows["value"],
        kappa_low=rows["low"],
        kappa_high=rows["high"],
        kappa_status=rows["status"],
    )
    columns = {f"band_{place}": band for place, band in enumerate(bands)}
    for column, band in columns.items():
        keys = [(rubric, version, str(criterion), band) for criterion in rows["criterion"]]
        known = words.bands["p_at_least"] if len(words.bands) else pd.Series(dtype=float)
        data[column] = [float(known.get(key, float("nan"))) for key in keys]
        data[column + STATUS] = rows["status"].to_numpy()
    return Table(
        key=wording.key("claims", rubric, version),
        title=f"What weighted kappa may be called by criterion, {wording.version(rubric, version)}",
        data=data.reset_index(drop=True),
        labels={
            "criterion": "Criterion",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            "kappa": "Weighted kappa",
            "interval_in_words": "Interval, in words",
            "assured": "May be called",
            **{column: f"At least {band}" for column, band in columns.items()},
        },
        units={
            "n_units": "pairs",
            "n_clusters": "people",
            "kappa": "coefficient",
            **dict.fromkeys(columns, "share"),
        },
        group_columns=("criterion",),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=("kappa", *columns),
        note="On the right: probability that kappa lies in the band or a better one.",
        references=(words.scale.reference, "gwet_2014"),
        folded=True,
    )


def _between(low: object, high: object) -> str:
    """Bands that the interval touches; empty without an interval."""
    if not isinstance(low, str) or not isinstance(high, str):
        return ""
    return low if low == high else f"{low} to {high}"


def _bands(words: Words) -> str:
    edges = [f"{edge:.2f}" for edge in words.scale.edges]
    return "; ".join(
        f"{label} {low} to {high}"
        for label, low, high in zip(words.scale.labels[1:], edges[1:-1], edges[2:], strict=True)
    )


def _called(tables: list[Table], words: Words, probability: str) -> str:
    assured = pd.concat([table.data["assured"] for table in tables])
    assured = assured[assured.notna() & (assured != "")]
    if assured.empty:
        return "No criterion has enough candidates to be called anything."
    counts = assured.value_counts()
    told = [f"“{band}” on {counts[band]}" for band in words.scale.labels[::-1] if band in counts.index]
    return (
        f"In the words of {words.scale.author} weighted kappa may, with {probability}\N{NO-BREAK SPACE}% "
        f"probability, be called at least {wording.listed(told)} of "
        f"{count(len(assured), 'criterion', 'criteria')}."
    )


def _alarms(tables: list[Table]) -> str:
    shown = pd.concat([table.data for table in tables]) if tables else pd.DataFrame({"kappa": []})
    shown = shown[shown["kappa"].notna()]
    whole = int((shown["level"] == ALL_LEVELS).sum()) if len(shown) else 0
    single = len(shown) - whole
    said = (
        f"High agreement goes with a low kappa on {count(whole, 'criterion', 'criteria')} as a whole"
        if whole
        else "On no criterion as a whole does high agreement go with a low kappa"
    )
    if not single:
        return f"{said}."
    times = "once" if single == 1 else f"{single:,} times"
    return f"{said}; where one level is held against all others it does so {times}, as rare levels make it."


ALL_LEVELS = "All levels"


def _paradoxes(rubric: str, version: str, rows: pd.DataFrame, rubrics: pd.DataFrame) -> Table:
    labels = {str(rank): label for rank, label in wording.level_labels(rubrics, rubric, version).items()}
    titles = wording.criterion_titles(rubrics, rubric, version)
    data = rows.assign(
        criterion_words=rows["criterion"].astype("str").map(titles),
        level=rows["level"].astype("str").map({"all": ALL_LEVELS, **labels}),
        kappa=rows["value"],
        kappa_low=rows["low"],
        kappa_high=rows["high"],
        kappa_status=rows["status"],
    )
    for name, source in {"prevalence": "prevalence_index", "bias": "bias_index"}.items():
        data[name] = rows[source].astype(float)
        data[name + STATUS] = (
            rows[source].isna().map({True: Status.NOT_IDENTIFIED.value, False: Status.OK.value})
        )
        data[[name + bound for bound in BOUNDS]] = float("nan")
    return Table(
        key=wording.key("paradox", rubric, version),
        title=f"High agreement with a low kappa, {wording.version(rubric, version)}",
        data=data.reset_index(drop=True),
        labels={
            "criterion": "Criterion",
            "level": "Level held against the others",
            "n_units": "Compared",
            "n_clusters": "Candidates",
            "p_observed": "Agree",
            "p_expected": "Agree by chance",
            "kappa": "Kappa",
            "prevalence": "Prevalence index",
            "bias": "Bias index",
            "gwet_ac": "Gwet AC1",
        },
        units={
            "n_units": "pairs",
            "n_clusters": "people",
            "p_observed": "share",
            "p_expected": "share",
            **dict.fromkeys(("kappa", "prevalence", "bias", "gwet_ac"), "coefficient"),
        },
        group_columns=("criterion", "level"),
        count_columns=("n_units", "n_clusters"),
        statistic_columns=("p_observed", "p_expected", "kappa", "prevalence", "bias", "gwet_ac"),
        note="Both indices need two levels, so there are none for all levels at once.",
        references=("byrt_1993", "feinstein_cicchetti_1990"),
        folded=True,
    )
