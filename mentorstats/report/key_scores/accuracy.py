"""Section: how raters' levels of key-scored recordings compare with the key, and what the rules do."""

from __future__ import annotations

import math

import pandas as pd

from mentorstats.agreement import Certification
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic, text, verdict
from mentorstats.report.model import Section, Table, Verdict
from mentorstats.report.numbers import count
from mentorstats.report.wording import listed

QUESTION = "Do raters score as the key does?"
WORDS = {"pass": Verdict.MET.value, "fail": Verdict.NOT_MET.value, "too_few": Verdict.NOT_ASSESSED.value}
MEASURES = {"exact": "exact", "adjacent": "adjacent", "weighted_kappa": "kappa", "bias": "bias"}
LIMITS = {">=": "at least", ">": "above", "<=": "at most", "<": "below"}
NO_RECORDS = (
    "Nobody's ratings of key-scored recordings are in the records, so nothing is known about how raters "
    "score beside a key. The table key_ratings would fill this section: one row a rater, recording and "
    "criterion, with the level given and the key level."
)


def section(found: Certification | None, chances: pd.DataFrame | None, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.agreement.certify`; None without key-scored recordings.
    chances
        From `mentorstats.agreement.operating_characteristic`, at the usual number of recordings.
    """
    if found is None or found.verdicts.empty:
        return Section(key="key-scores", question=QUESTION, answer=NO_RECORDS, status=Status.NO_RECORDS)
    tables = [_raters(found)]
    if chances is not None:
        tables.append(_chances(chances))
    return Section(
        key="key-scores",
        question=QUESTION,
        answer=_answer(found),
        tables=tuple(tables),
        method=(
            "Each rater's levels are held to the key recording by recording; the unit is the recording, and "
            "intervals take the ratings of one recording as belonging together. A rule is met, or missed, "
            "where the whole interval lies on one side of its threshold; in between it is too few "
            "recordings to say. Rules in force: " + _rules(found) + ".",
            "The second table says what the rules do to a rater whose true share of exact ratings is known, "
            "and to one who rates without looking; it is simulated.",
        ),
        references=("white_2018",),
        caution=(
            "For training and for deciding who needs another session, under the programme's own policy. The "
            "thresholds are customs, the key is itself the judgement of experts, and a recording is not a "
            "lesson in a school that the rater knows. No verdict here is a sole basis for a decision about "
            "a person.",
        ),
    )


def _answer(found: Certification) -> str:
    verdicts = found.verdicts["verdict"].value_counts()
    told = [
        f"{count(int(verdicts[key]), 'rater')} {words}"
        for key, words in (
            ("pass", "met the rules"),
            ("fail", "missed them"),
            ("too_few", "scored too few recordings to say"),
        )
        if key in verdicts.index
    ]
    return f"Of {count(len(found.verdicts), 'rater')} with key-scored recordings, {listed(told)}."


def _rules(found: Certification) -> str:
    return "; ".join(
        f"{rule.meaning.rstrip('.')} ({LIMITS[rule.inequality]} {rule.value:g})" for rule in found.rules
    )


def _raters(found: Certification) -> Table:
    data = found.verdicts.reset_index()
    data["verdict"] = data["verdict"].map(WORDS)
    for sign, words in LIMITS.items():
        data["reason"] = data["reason"].str.replace(f" {sign} ", f" {words} ", regex=False)
    for measure, name in MEASURES.items():
        rows = found.measures.xs(measure, level="measure").reindex(data["rater"])
        for suffix, source in zip(("", *BOUNDS, STATUS), ("value", "low", "high", "status"), strict=True):
            data[name + suffix] = rows[source].to_numpy()
    return Table(
        key="key-scores-raters",
        title="Raters beside the key, in the order of their codes",
        data=data,
        columns=(
            group("rater", "Rater"),
            counted("n_recordings", "Recordings", "number"),
            statistic("exact", "Same level as the key", "share"),
            statistic("adjacent", "At most one level off", "share"),
            statistic("kappa", "Weighted kappa", "coefficient"),
            statistic("bias", "Above the key, on average", "levels"),
            verdict("verdict", "Rules"),
            text("reason", "Why"),
        ),
        references=("cohen_1968",),
    )


def _chances(chances: pd.DataFrame) -> Table:
    data = chances.reset_index().rename(columns={"p_pass": "passes", "p_fail": "misses"})
    data["who"] = ["who rates blindly" if name == "blind" else str(name) for name in data["rater"]]
    data["passes" + BOUNDS[0]], data["passes" + BOUNDS[1]] = data["low"], data["high"]
    data["misses" + BOUNDS[0]] = data["misses" + BOUNDS[1]] = math.nan
    data["passes" + STATUS] = data["misses" + STATUS] = Status.OK.value
    return Table(
        key="key-scores-rules",
        title="What the rules do: simulated raters whose agreement with the key is known",
        data=data,
        columns=(
            group("who", "A rater"),
            statistic("passes", "Meets the rules", "share"),
            statistic("misses", "Misses them", "share"),
        ),
        note=f"{int(data['n'].iloc[0])} simulated raters a row; the rest are too few recordings to say.",
    )
