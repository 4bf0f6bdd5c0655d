"""Section: accuracy of raters against expert scores, and what the programme's rules of certification do."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.key_scores.certification import Certification
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, Column, counted, group, statistic, text, verdict
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, number

WORDS = {
    "pass": Verdict.MET.value,
    "fail": Verdict.NOT_MET.value,
    "undecided": Verdict.UNDECIDED.value,
    "too_few": Verdict.NOT_ASSESSED.value,
}
MEASURES = {"exact": "exact", "adjacent": "adjacent", "weighted_kappa": "kappa", "bias": "bias"}
LIMITS = {">=": "at least", ">": "above", "<=": "at most", "<": "below"}
ABOUT = partial(
    Section,
    key="key-scores",
    name="accuracy against expert scores",
    question="How accurate are raters against expert scores?",
)
NEEDS = (
    "the table key_ratings: a row for each rater, recording and criterion, with the level and the expert "
    "level"
)


def section(found: Certification | None, chances: pd.DataFrame | None, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.key_scores.certify`; None without recordings scored by experts.
    chances
        From `mentorstats.key_scores.operating_characteristic`, at the usual number of recordings; None where
        the programme has set no rule.
    """
    if found is None or found.verdicts.empty:
        nothing = "No ratings of recordings with expert scores are in the records."
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs=NEEDS)
    shown = () if chances is None else (_chances(chances),)
    return ABOUT(
        answer=_answer(found),
        detail=_before_the_list(chances),
        tables=(*shown, _raters(found)),
        findings=_findings(found),
        method=(
            "Each rater's levels are compared with the expert levels, recording by recording. The unit is "
            "the recording, and intervals treat the ratings of one recording as a cluster.",
            *_rules(found),
        ),
        references=("white_2018",),
        caution=(
            "The programme sets the rules and their thresholds. The expert score is itself a judgement, and "
            "a recording is not a lesson in a school that the rater knows.",
        ),
    )


def _judged(found: Certification) -> bool:
    """Whether the programme has set a rule on accuracy."""
    return not found.verdicts["verdict"].eq("no_rules").all()


def _answer(found: Certification) -> str:
    who = f"{count(len(found.verdicts), 'rater')} scored recordings that experts had scored."
    if not _judged(found):
        return f"{who} The programme has set no rule, so nobody is judged."
    verdicts = found.verdicts["verdict"].value_counts()
    told = [
        f"{int(verdicts[key]):,} {words}"
        for key, words in (
            ("pass", "met the programme's rules"),
            ("fail", "did not meet them"),
            ("undecided", "undecided"),
            ("too_few", "not assessed (too few recordings)"),
        )
        if key in verdicts.index
    ]
    return f"{who} Of these: {wording.listed(told)}."


def _findings(found: Certification) -> tuple[Finding, ...]:
    if not _judged(found):
        return ()
    missed = int((found.verdicts["verdict"] == "fail").sum())
    if not missed:
        return ()
    return (
        Finding(
            concern=Concern.CERTIFICATION,
            what=f"{missed} of {count(len(found.verdicts), 'rater')} did not meet the programme's rules "
            "of accuracy.",
            how_sure="A rule counts as not met only where the whole interval is on the wrong side of "
            "its threshold.",
            action="Offer these raters another calibration session with recordings that experts have scored.",
            concerns="raters with recordings scored by experts",
        ),
    )


def _before_the_list(chances: pd.DataFrame | None) -> tuple[str, ...]:
    """The chance of passing, which has to be known before anybody's verdict is read."""
    if chances is None:
        return ()
    guessing = chances.loc[chances.index.get_level_values("rater") == "blind", "p_pass"]
    if guessing.empty:
        return ()
    share = number(float(guessing.iloc[0]), "share")
    return (
        "The first table gives the chance of passing under these rules, by simulation. A rater who guesses "
        f"from how often levels are used would pass with a probability of {share}\N{NO-BREAK SPACE}%.",
    )


def _rules(found: Certification) -> tuple[str, ...]:
    if not _judged(found):
        return ()
    rules = "; ".join(
        f"{rule.meaning.rstrip('.')} ({LIMITS[rule.inequality]} {rule.value:g})" for rule in found.rules
    )
    return (
        "A rule is met, or not met, where the whole interval is on one side of its threshold; it is "
        f"undecided where the interval includes the threshold. The programme's rules: {rules}.",
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
    judged: tuple[Column, ...] = (
        (verdict("verdict", "Rules"), text("reason", "Why")) if _judged(found) else ()
    )
    return Table(
        key="key-scores-raters",
        title="Accuracy of raters against expert scores, in the order of their codes",
        data=data,
        columns=(
            group("rater", "Rater"),
            counted("n_recordings", "Recordings", "number"),
            statistic("exact", "Exact agreement", "share"),
            statistic("adjacent", "Exact or adjacent", "share"),
            statistic("kappa", "Weighted kappa", "coefficient"),
            statistic("bias", "Mean difference from the expert score", "levels"),
            *judged,
        ),
        references=("cohen_1968",),
        people=True,
    )


def _chances(chances: pd.DataFrame) -> Table:
    data = chances.reset_index().rename(
        columns={"p_pass": "passes", "low": "passes_low", "high": "passes_high", "p_fail": "misses"}
    )
    data["who"] = ["who guesses" if name == "blind" else str(name) for name in data["rater"]]
    return Table(
        key="key-scores-rules",
        title="Chance of meeting the rules, for simulated raters of known accuracy",
        data=data,
        columns=(
            group("who", "A rater"),
            statistic("passes", "Meets the rules", "share"),
            statistic("misses", "Does not meet them", "share"),
        ),
        note=f"{int(data['n'].iloc[0]):,} simulated raters a row; the others are undecided or have too few "
        "recordings.",
    )
