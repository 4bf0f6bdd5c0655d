"""Section: how strong agreement is in an author's words, and where high agreement hides a low kappa."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from mentorstats.agreement.reading.in_words import Words
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.agreement.by_criterion import NEEDS_PAIRS, NO_PAIRS
from mentorstats.report.agreement.layout import versions
from mentorstats.report.columns import STATUS, carried, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

ALL_LEVELS = "All levels"
ABOUT = partial(
    Section, key="in-words", name="agreement in words", question="How strong is the agreement, in words?"
)


def section(words: Words, paradoxes: pd.DataFrame, rubrics: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    words, paradoxes
        From `in_words` and `paradoxes` of `mentorstats.agreement.reading.in_words`.
    rubrics
        ``Records.rubrics``, for the titles of criteria and the labels of levels.
    """
    if words.read.empty:
        return ABOUT(answer=NO_PAIRS, status=Status.NO_DOUBLE_SCORES, needs=NEEDS_PAIRS)
    minimum = policy.rule("minimum_group_size")
    parts = {key[:2]: key[2] for key in versions(words.read.reset_index())}
    largest = pd.concat(parts.values()).groupby(["rubric", "rubric_version"], observed=True, as_index=False)
    order = wording.newest_first(largest[["n_units", "n_clusters"]].max(), "n_units", minimum)
    called = {key: _words(*key, parts[key], words) for key in order}
    alarms = versions(paradoxes.reset_index()) if len(paradoxes) else ()
    odd = [_paradoxes(rubric, version, rows, rubrics) for rubric, version, rows in alarms]
    probability = number(policy.value("agreement_words_probability"), "share")
    told = [
        _called(wording.version(*key), table, words, probability, minimum) for key, table in called.items()
    ]
    return ABOUT(
        answer=told[0],
        detail=(*told[1:], _alarms(odd, minimum)),
        tables=(*called.values(), *odd),
        method=(
            f"The policy chose the words of {words.scale.author} ({_bands(words)}). They are a convention "
            "for unweighted kappa; with quadratic weights kappa is usually higher for the same ratings. A "
            "word is supported where kappa lies in its band or a better one with a probability of "
            f"{probability}\N{NO-BREAK SPACE}% or more, given its standard error. This is more cautious than "
            "the word for the value itself.",
            "High agreement with a low kappa (of exact levels here) occurs where nearly all ratings share "
            "one level. The prevalence index is the share of pairs in which both roles chose the level minus "
            "the share in which neither did. The bias index is how much more often the mentor chose it. A "
            "prevalence index far from zero lowers kappa, a bias index far from zero raises it.",
        ),
        references=(words.scale.reference, "gwet_2014", "byrt_1993", "feinstein_cicchetti_1990"),
        caution=("A word is not a judgement: how close agreement must be depends on the use of the scores.",),
    )


def _words(rubric: str, version: str, rows: pd.DataFrame, words: Words) -> Table:
    rows = rows.rename(columns={"low": "value_low", "high": "value_high"}).reset_index(drop=True)
    data = rows[["criterion", "n_units", "n_clusters"]].join(carried(rows, {"value": "kappa"}))
    data["supported"] = rows["band_assured"].fillna("")
    known = words.bands["p_at_least"] if len(words.bands) else pd.Series(dtype=float)
    keys = [
        (rubric, version, str(criterion), band)
        for criterion, band in zip(data["criterion"], data["supported"], strict=True)
    ]
    data["probability"] = [float(known.get(key, math.nan)) for key in keys]
    data["probability" + STATUS] = rows["status"].to_numpy()
    return Table(
        key=wording.key("in-words", rubric, version),
        title=f"Weighted kappa in words, {wording.version(rubric, version)}",
        data=data,
        columns=(
            group("criterion", "Criterion"),
            counted("n_units", "Pairs", "pairs"),
            counted("n_clusters", "Candidates", "people"),
            statistic("kappa", "Weighted kappa", "coefficient"),
            text("supported", "Highest word supported"),
            statistic("probability", "Probability of that word or a better one", "share"),
        ),
        references=(words.scale.reference, "gwet_2014"),
    )


def _bands(words: Words) -> str:
    edges = [f"{edge:.2f}" for edge in words.scale.edges]
    return "; ".join(
        f"{label} {low} to {high}"
        for label, low, high in zip(words.scale.labels[1:], edges[1:-1], edges[2:], strict=True)
    )


def _called(version: str, table: Table, words: Words, probability: str, minimum: Rule) -> str:
    """How many criteria support which word under a version."""
    data = table.data[table.data["n_clusters"].map(minimum.met)]
    supported = data.loc[data["supported"] != "", "supported"]
    if supported.empty:
        return f"Under {version}, no criterion has enough candidates for a word."
    counts = supported.value_counts()
    told = [f"“{band}” on {counts[band]}" for band in words.scale.labels if band in counts.index]
    return (
        f"Under {version}, weighted kappa is at least {wording.listed(told)} of "
        f"{count(len(supported), 'criterion', 'criteria')}, with {probability}\N{NO-BREAK SPACE}% "
        f"probability. The words are those of {words.scale.author}."
    )


def _alarms(tables: list[Table], minimum: Rule) -> str:
    shown = pd.concat([table.data for table in tables]) if tables else pd.DataFrame()
    if len(shown):
        shown = shown[shown["kappa"].notna() & shown["n_clusters"].map(minimum.met)]
    whole = int((shown["level"] == ALL_LEVELS).sum()) if len(shown) else 0
    single = len(shown) - whole
    said = (
        f"High agreement goes with a low kappa on {count(whole, 'criterion', 'criteria')} as a whole."
        if whole
        else "High agreement goes with a low kappa on no criterion as a whole."
    )
    if not single:
        return said
    return (
        f"{said} For single levels against all others it does so {wording.times(single)}, mostly for rare "
        "levels."
    )


def _paradoxes(rubric: str, version: str, rows: pd.DataFrame, rubrics: pd.DataFrame) -> Table:
    labels = {str(rank): label for rank, label in wording.level_labels(rubrics, rubric, version).items()}
    titles = wording.criterion_titles(rubrics, rubric, version)
    rows = rows.rename(columns={"low": "value_low", "high": "value_high"}).reset_index(drop=True)
    data = rows[["criterion", "n_units", "n_clusters", "p_observed", "p_expected", "gwet_ac"]].assign(
        criterion_words=rows["criterion"].astype("str").map(titles),
        level=rows["level"].astype("str").map({"all": ALL_LEVELS, **labels}),
    )
    data = data.join(carried(rows, {"value": "kappa"}))
    for name, source in {"prevalence": "prevalence_index", "bias": "bias_index"}.items():
        data[name] = rows[source].astype(float)
        missing = rows[source].isna()
        data[name + STATUS] = missing.map({True: Status.NOT_IDENTIFIED.value, False: Status.OK.value})
    return Table(
        key=wording.key("paradox", rubric, version),
        title=f"High agreement with a low kappa, {wording.version(rubric, version)}",
        data=data,
        columns=(
            group("criterion", "Criterion"),
            group("level", "Level against all others"),
            counted("n_units", "Pairs", "pairs"),
            counted("n_clusters", "Candidates", "people"),
            statistic("p_observed", "Agreement", "share"),
            statistic("p_expected", "Expected by chance", "share"),
            statistic("kappa", "Kappa", "coefficient"),
            statistic("prevalence", "Prevalence index", "coefficient"),
            statistic("bias", "Bias index", "coefficient"),
            statistic("gwet_ac", "Gwet's AC1", "coefficient"),
        ),
        note="Both indices need two levels, so there are none for all levels at once.",
        references=("byrt_1993", "feinstein_cicchetti_1990"),
    )
