"""Section: central tendency, range restriction and halo."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.calibration.analyse import Spread
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.calibration import beyond_limits
from mentorstats.report.calibration.beyond_limits import Look
from mentorstats.report.columns import STATUS, Column, carried, counted, group, statistic
from mentorstats.report.model import Section, Table

KEYS = ["rater_role", "rater"]
ABOUT = partial(
    Section,
    key="spread-and-halo",
    name="central tendency, range restriction and halo",
    question="Do raters use the whole scale, and do they rate criteria separately?",
)
FROM_CENTRAL = {
    "pull": "contrast",
    "middle": "share_middle",
    "middle_expected": "share_middle_expected",
    "middle_average_rater": "share_middle_average_rater",
}
FROM_RESTRICTION = {"sd": "sd", "sd_expected": "sd_expected", "sd_average_rater": "sd_average_rater"}
FROM_HALO = {
    "together": "correlation",
    "together_expected": "correlation_expected",
    "apart": "criterion_sd",
    "apart_expected": "criterion_sd_expected",
    "halo": "contrast",
}


def section(found: Spread, policy: Policy) -> Section:
    """Build the section from ``spread`` of `mentorstats.calibration.survey`."""
    central, restriction, halo = found.central, found.restriction, found.halo
    if central["contrast"].isna().all() and restriction["contrast"].isna().all():
        why = str(central["status_note"].iloc[0]) if len(central) else "There are no ratings."
        return ABOUT(
            answer=f"This cannot be estimated from the records. {why}".strip(), status=Status.NO_RECORDS
        )
    confidence, minimum = policy.value("confidence"), policy.rule("minimum_group_size")
    looks = (
        Look("Share of ratings at middle levels", central, "share_middle", "share_middle_expected"),
        Look("Standard deviation of ratings", restriction, "sd", "sd_expected"),
        Look("Correlation between criteria", halo, "correlation", "correlation_expected"),
        Look("Standard deviation across criteria of a form", halo, "criterion_sd", "criterion_sd_expected"),
    )
    told = _sentences(looks, confidence, minimum)
    return ABOUT(
        answer=" ".join(told) if told else "Not shown, because there are too few raters.",
        tables=(
            beyond_limits.table("spread-and-halo-summary", looks, confidence),
            _spread(central, restriction),
            _halo(central, halo),
        ),
        method=_method(confidence),
        references=("saal_1980", "balzer_sulsky_1992", "pulakos_1986", "lin_1997", "berger_1982"),
        caution=(
            "Low spread is not an error in itself. Lessons and criteria may really have been similar, a "
            "rater may see what others do not, and of many raters some are beyond any limits by chance.",
            "The measures overlap. A rater with halo also shows little spread over all criteria. One whose "
            "severity changes over the weeks also shows criteria that rise and fall together, so look at "
            "drift first. Little can be said about raters with few lessons.",
        ),
    )


def _sentences(looks: tuple[Look, ...], confidence: float, minimum: Rule) -> list[str]:
    middle, spread, _, within = looks
    asked = (
        (middle, "above", "gave middle levels more often than expected"),
        (spread, "below", "spread their ratings less than expected"),
        (within, "below", "rated criteria more similarly than expected"),
    )
    told = [beyond_limits.told(*parts, confidence, minimum) for parts in asked]
    return [sentence for sentence in told if sentence]


def _method(confidence: float) -> tuple[str, ...]:
    inside = f"{confidence:.0%}".replace("%", "\N{NO-BREAK SPACE}%")
    return (
        "All measures compare raters of the same candidates, from the one base model of this report. Central "
        "tendency is how far a rater's ratings are closer to the middle of the scale than those of the other "
        "raters of the role, by one step from the model, unshrunken, with interval. It counts as central "
        "tendency only where the rater also gives middle levels more often than a rater of average severity "
        "would. Range restriction is a small standard deviation anywhere on the scale, compared with what "
        "the same lessons and criteria would show, and with what a rater of average severity would show.",
        "Halo is given in both usual forms, because there is no agreed definition: two criteria of a lesson "
        "correlate more than expected, or the criteria of a form differ less. Criteria are standardised "
        "within role and version first. Leniency is given with them, because as it rises the two forms move "
        "in opposite directions. The last column is the residual correlation among criteria, given "
        "everything in the model.",
        f"Limits hold {inside} of raters without peculiarities. They come from ratings drawn from the base "
        "model with new effects of lessons and forms; effects are predicted again from each draw, and the "
        "model is not fitted again.",
    )


def _spread(central: pd.DataFrame, restriction: pd.DataFrame) -> Table:
    data = _together(central, (central, FROM_CENTRAL), (restriction, FROM_RESTRICTION))
    return _table(
        "spread-raters",
        "Central tendency and range restriction of each rater, by role and code",
        data,
        (
            statistic("pull", "Central tendency", "share"),
            statistic("middle", "At middle levels", "share"),
            statistic("middle_expected", "Expected", "share"),
            statistic("middle_average_rater", "Expected of a rater of average severity", "share"),
            statistic("sd", "Standard deviation", "distance"),
            statistic("sd_expected", "Expected", "distance"),
            statistic("sd_average_rater", "Expected of a rater of average severity", "distance"),
        ),
    )


def _halo(central: pd.DataFrame, halo: pd.DataFrame) -> Table:
    return _table(
        "halo-raters",
        "Halo of each rater, by role and code",
        _together(central, (halo, FROM_HALO)),
        (
            statistic("together", "Correlation between criteria", "coefficient"),
            statistic("together_expected", "Expected", "coefficient"),
            statistic("apart", "Standard deviation across criteria", "deviations"),
            statistic("apart_expected", "Expected", "deviations"),
            statistic("halo", "Residual correlation among criteria", "coefficient"),
        ),
    )


def _together(raters: pd.DataFrame, *sources: tuple[pd.DataFrame, dict[str, str]]) -> pd.DataFrame:
    """Raters with the columns named, their bounds and statuses."""
    data = raters[[*KEYS, "n_candidates", "n_lessons", "leniency_level"]].copy()
    data["leniency_status"] = _status(data["leniency_level"], raters["status"])
    data = data.rename(columns={"leniency_level": "leniency"})
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    keys = pd.MultiIndex.from_frame(raters[KEYS])
    for found, names in sources:
        rows = found.set_index(KEYS).reindex(keys).set_axis(data.index)
        shown = carried(rows, {source: name for name, source in names.items()})
        for name in names:
            shown[name + STATUS] = _status(shown[name], rows["status"])
        data = data.join(shown)
    return data


def _table(key: str, title: str, data: pd.DataFrame, shown: tuple[Column, ...]) -> Table:
    return Table(
        key=key,
        title=title,
        data=data,
        columns=(
            group("rater_role", "Role"),
            group("rater", "Rater"),
            counted("n_lessons", "Lessons", "lessons"),
            statistic("leniency", "Severity, in rubric levels", "levels"),
            *shown,
        ),
        note="Brackets after an expected value are limits; the others are intervals.",
        people=True,
    )


def _status(values: pd.Series, status: pd.Series) -> pd.Series:
    """Status of the row, or why a single value is not there though the row has others."""
    given = pd.Series(status.to_numpy(), index=values.index).fillna(Status.NOT_IDENTIFIED.value)
    return given.mask(values.isna() & (given == Status.OK.value), Status.NOT_IDENTIFIED.value)
