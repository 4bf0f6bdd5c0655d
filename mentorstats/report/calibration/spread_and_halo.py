"""Section: do raters gather in the middle, use little of the scale, or let criteria follow one another?"""

from __future__ import annotations

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.calibration import beyond_limits
from mentorstats.report.calibration.beyond_limits import Look
from mentorstats.report.model import BOUNDS, STATUS, Section, Table
from mentorstats.report.small_groups import blank, raters_of_enough

QUESTION = "Do raters use the whole scale, and do they tell criteria apart?"
KEYS = ["rater_role", "rater"]
FROM_CENTRAL = {
    "pull": "contrast",
    "middle": "share_middle",
    "middle_expected": "share_middle_expected",
    "middle_middling": "share_middle_middling",
}
FROM_RESTRICTION = {"sd": "sd", "sd_expected": "sd_expected", "sd_middling": "sd_middling"}
FROM_HALO = {
    "together": "correlation",
    "together_expected": "correlation_expected",
    "apart": "criterion_sd",
    "apart_expected": "criterion_sd_expected",
    "halo": "contrast",
}


def section(central: pd.DataFrame, restriction: pd.DataFrame, halo: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    central, restriction, halo
        From `mentorstats.calibration`: `central_tendency`, `range_restriction`, `halo`.
    """
    key = "spread-and-halo"
    if central["contrast"].isna().all() and restriction["contrast"].isna().all():
        why = central["status_note"].iloc[0] if len(central) else "There are no ratings."
        answer = f"This cannot be told from the records. {why}".strip()
        return Section(key=key, question=QUESTION, answer=answer, status=Status.NO_RECORDS)
    confidence, minimum = policy.value("confidence"), policy.rule("minimum_group_size")
    looks = (
        Look("Share of ratings in the middle of the scale", central, "share_middle", "share_middle_expected"),
        Look("Spread of the ratings", restriction, "sd", "sd_expected"),
        Look("Correlation of two criteria", halo, "correlation", "correlation_expected"),
        Look("Spread across the criteria of a form", halo, "criterion_sd", "criterion_sd_expected"),
    )
    summary = beyond_limits.table(f"{key}-summary", "Raters beyond the limits", looks, confidence)
    return Section(
        key=key,
        question=QUESTION,
        answer=_answer(tuple(look.of_enough(minimum) for look in looks), confidence),
        tables=(
            blank(summary, minimum),
            raters_of_enough(_spread(central, restriction), minimum),
            raters_of_enough(_halo(central, halo), minimum),
        ),
        method=_method(confidence),
        references=("saal_1980", "balzer_sulsky_1992", "pulakos_1986", "lin_1997", "berger_1982"),
        caution=(
            "A reason to look and to talk: no ranking, and no sole basis for a decision about a person. Low "
            "spread is no error in itself. Lessons and criteria may really have been alike, a rater may see "
            "what others do not, and of many raters some lie beyond any limits by chance.",
            "The measures overlap. A rater whose criteria follow one another also shows little spread over "
            "all; one who changes over the weeks in a way that the model does not know also shows criteria "
            "that rise and fall together, so look at drift first. Raters of few lessons show nothing surely.",
        ),
    )


def _answer(looks: tuple[Look, ...], confidence: float) -> str:
    middle, spread, _, apart = looks
    told = (
        (middle, "above", "gave middle levels more often than their lessons make likely"),
        (spread, "below", "spread their ratings less than expected"),
        (apart, "below", "told criteria apart less than expected"),
    )
    return "; ".join(beyond_limits.told(*parts, confidence) for parts in told) + "."


def _method(confidence: float) -> tuple[str, ...]:
    inside = f"{confidence:.0%}".replace("%", " %")
    return (
        "All of it is against raters of the same candidates, from the one base fit of this report. Two "
        "things are kept apart. Drawn to the middle: how far what a rater sees is drawn towards the "
        "middle of the scale against the other raters of the role, by one step from the fit, unshrunken, "
        "with interval; it counts as central tendency only where the rater also gives middle levels more "
        "often than a middling rater would. Spread of the ratings: their standard deviation beside that "
        "of the very same lessons and criteria, wherever on the scale they lie, also at one end; what a "
        "rater of middling severity would show stands beside it.",
        "Halo stands in both usual forms, because there is no agreed definition. Two criteria of a lesson "
        "correlate more than expected, or the criteria of a form lie closer together; criteria are "
        "standardised within role and version first. Leniency stands beside: as it rises the two forms move "
        "in opposite directions. The last column says how much what is left of a form's ratings, "
        "given everything in the fit, still rises and falls together.",
        f"Limits hold {inside} of raters without peculiarities. They come from ratings drawn from the base "
        "fit, with new effects of lessons and forms; the effects were predicted anew from each draw, and the "
        "fit was not made again.",
    )


def _spread(central: pd.DataFrame, restriction: pd.DataFrame) -> Table:
    data = _beside(central, (central, FROM_CENTRAL), (restriction, FROM_RESTRICTION))
    return _table(
        "spread-raters",
        "Spread: each rater, in the order of role and code",
        data,
        {
            "pull": ("Drawn to the middle", "share"),
            "middle": ("In the middle", "share"),
            "middle_expected": ("Expected in the middle", "share"),
            "middle_middling": ("Of a middling rater", "share"),
            "sd": ("Spread of ratings", "distance"),
            "sd_expected": ("Expected spread", "distance"),
            "sd_middling": ("Of a middling rater", "distance"),
        },
    )


def _halo(central: pd.DataFrame, halo: pd.DataFrame) -> Table:
    return _table(
        "halo-raters",
        "Halo: each rater, in the order of role and code",
        _beside(central, (halo, FROM_HALO)),
        {
            "together": ("Correlation of criteria", "coefficient"),
            "together_expected": ("Expected correlation", "coefficient"),
            "apart": ("Spread across criteria", "deviations"),
            "apart_expected": ("Expected across criteria", "deviations"),
            "halo": ("Left over that criteria share", "coefficient"),
        },
    )


def _beside(raters: pd.DataFrame, *sources: tuple[pd.DataFrame, dict[str, str]]) -> pd.DataFrame:
    """Raters with the columns named, their bounds and statuses."""
    data = raters[[*KEYS, "n_candidates", "n_lessons", "leniency_level"]].copy()
    data["leniency_status"] = _status(data["leniency_level"], raters["status"])
    data = data.rename(columns={"leniency_level": "leniency"})
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    keys = pd.MultiIndex.from_frame(raters[KEYS])
    for found, names in sources:
        rows = found.set_index(KEYS).reindex(keys)
        for name, source in names.items():
            for end in ("", *BOUNDS):
                if source + end in rows:
                    data[name + end] = rows[source + end].to_numpy()
            data[name + STATUS] = _status(data[name], rows["status"])
    return data


def _table(key: str, title: str, data: pd.DataFrame, shown: dict[str, tuple[str, str]]) -> Table:
    labels = {
        "rater": "Rater",
        "rater_role": "Role",
        "n_lessons": "Lessons",
        "leniency": "Shift on the level scale",
    }
    return Table(
        key=key,
        title=title,
        data=data,
        labels=labels | {name: words for name, (words, _) in shown.items()},
        units={"n_lessons": "lessons", "leniency": "levels"}
        | {name: unit for name, (_, unit) in shown.items()},
        group_columns=("rater_role", "rater"),
        count_columns=("n_lessons",),
        statistic_columns=("leniency", *shown),
        note="Brackets beside what was expected are limits, those beside the others are intervals.",
        folded=True,
    )


def _status(values: pd.Series, status: pd.Series) -> pd.Series:
    """Status of the row, or why a single value is not there though the row has others."""
    given = pd.Series(status.to_numpy(), index=values.index).fillna(Status.NOT_IDENTIFIED.value)
    return given.mask(values.isna() & (given == Status.OK.value), Status.NOT_IDENTIFIED.value)
