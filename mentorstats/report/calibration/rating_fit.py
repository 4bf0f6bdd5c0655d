"""Section: whether ratings are erratic or predictable, and which levels each rater uses."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.calibration.analyse import Spread
from mentorstats.calibration.raters.level_use import never_used
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report import wording
from mentorstats.report.calibration import beyond_limits
from mentorstats.report.calibration.beyond_limits import Look
from mentorstats.report.columns import carried, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, number

KEYS = ["rater_role", "rater"]
ABOUT = partial(
    Section,
    key="rating-fit",
    name="consistency of ratings",
    question="Do raters rate consistently, using every level?",
)


def section(found: Spread, policy: Policy) -> Section:
    """Build the section from ``spread`` of `mentorstats.calibration.survey`."""
    information, response, criteria, use = (
        found.by_information,
        found.by_response,
        found.criteria,
        found.levels,
    )
    if information["contrast"].isna().all():
        why = str(information["status_note"].iloc[0]) if len(information) else "There are no ratings."
        return ABOUT(
            answer=f"This cannot be estimated from the records. {why}".strip(), status=Status.NO_RECORDS
        )
    confidence, minimum = policy.value("confidence"), policy.rule("minimum_group_size")
    looks = (
        Look("Weighted mean-square fit", information, "fit", "fit_expected"),
        Look("Unweighted mean-square fit", response, "fit", "fit_expected"),
    )
    return ABOUT(
        answer=_answer(looks, use, confidence, minimum),
        tables=(
            beyond_limits.table("rating-fit-summary", looks, confidence),
            _raters(information, response, use),
            _criteria(criteria),
            _levels(use),
        ),
        method=(
            "Mean-square fit compares each rating with what the base model expects of that candidate, "
            "lesson, criterion and rater: the mean of squared differences divided by their variances. "
            "Weighted fit gives more weight to ratings that the model predicts with the largest variance; in "
            "unweighted fit every rating counts equally, so a few surprising ratings show. Above the limits "
            "ratings are more erratic than expected, below them more predictable.",
            "Limits come from ratings drawn from the base model with new effects of lessons and forms; "
            "effects are predicted again from each draw, and the model is not fitted again. Fit is below 1 "
            "on average because expectations are fitted to the ratings. Fixed limits from rules of thumb "
            "mislead and are not used. The use of levels is compared with the same draws.",
        ),
        references=("wright_masters_1982", "guo_wind_2021"),
        caution=(
            "Erratic ratings may come from unusual lessons or from a criterion that is hard to see, "
            "predictable ones from a rater who keeps to one impression. Of many raters some are beyond the "
            "limits by chance.",
        ),
    )


def _answer(looks: tuple[Look, ...], use: pd.DataFrame, confidence: float, minimum: Rule) -> str:
    fit = looks[0]
    never = never_used(use)
    n = never.loc[never["p_unused"] < (1 - confidence), KEYS].drop_duplicates().shape[0]
    who = count(n, "rater") if n else "No rater"
    told = (
        beyond_limits.told(fit, "above", "rated more erratically than expected", confidence, minimum),
        beyond_limits.told(fit, "below", "rated more predictably than expected", confidence, minimum),
        f"{who} failed to use a level that they were expected to use.",
    )
    shown = [sentence for sentence in told if sentence]
    return " ".join(shown) if len(shown) == len(told) else "Not shown, because there are too few raters."


def _raters(information: pd.DataFrame, response: pd.DataFrame, use: pd.DataFrame) -> Table:
    data = information[[*KEYS, "n_candidates", "n_lessons", "n_ratings"]].copy()
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    keys = pd.MultiIndex.from_frame(information[KEYS])
    for stem, found in (("weighted", information), ("unweighted", response)):
        rows = found.set_index(KEYS).reindex(keys).set_axis(data.index)
        data = data.join(carried(rows, {"fit": stem, "fit_expected": f"{stem}_expected"}))
    without = _without(use)
    data["unused"] = [
        without.get(key, "") for key in zip(information["rater_role"], information["rater"], strict=True)
    ]
    return Table(
        key="rating-fit-raters",
        title="Mean-square fit of each rater, by role and code",
        data=data,
        columns=(
            group("rater_role", "Role"),
            group("rater", "Rater"),
            counted("n_lessons", "Lessons", "lessons"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("weighted", "Weighted mean-square fit", "mean_square"),
            statistic("weighted_expected", "Expected, with limits", "mean_square"),
            statistic("unweighted", "Unweighted mean-square fit", "mean_square"),
            statistic("unweighted_expected", "Expected, with limits", "mean_square"),
            text("unused", "Levels never given (chance of that)"),
        ),
        people=True,
    )


def _without(use: pd.DataFrame) -> dict[tuple[str, str], str]:
    """Levels that a rater never gave, each with the share of draws in which that happens, in words."""
    out: dict[tuple[str, str], list[str]] = {}
    for _, row in never_used(use).iterrows():
        chance = number(float(row["p_unused"]), "share")
        out.setdefault((row["rater_role"], row["rater"]), []).append(f"{row['level']} ({chance} %)")
    return {key: wording.listed(words) for key, words in out.items()}


def _criteria(found: pd.DataFrame) -> Table:
    return Table(
        key="rating-fit-criteria",
        title="Weighted mean-square fit of each criterion, over all raters",
        data=found.assign(version=wording.versions_named(found), fit_status=found["status"]),
        columns=(
            group("version", "Rubric version"),
            group("criterion", "Criterion"),
            counted("n_raters", "Raters", "raters"),
            counted("n_ratings", "Ratings", "ratings"),
            statistic("fit", "Weighted mean-square fit", "mean_square"),
            statistic("fit_expected", "Expected, with limits", "mean_square"),
        ),
    )


def _levels(use: pd.DataFrame) -> Table:
    """One row a rater; the share of each level, and after it what was expected."""
    levels = sorted(use["level"].unique())
    first = use[use["level"] == levels[0]]
    data = first[[*KEYS, "n_candidates", "n_ratings"]].reset_index(drop=True)
    columns = []
    for level in levels:
        own = use[use["level"] == level].reset_index(drop=True)
        given, expected = f"given_{level}", f"expected_{level}"
        data[given] = own["observed_share"]
        data = data.join(carried(own, {"expected_share": expected}))
        columns += [
            statistic(given, f"Level {level}", "share"),
            statistic(expected, f"Expected {level}", "share"),
        ]
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    return Table(
        key="rating-fit-levels",
        title="Share of each level by rater, and limits of what was expected",
        data=data,
        columns=(
            group("rater_role", "Role"),
            group("rater", "Rater"),
            counted("n_ratings", "Ratings", "ratings"),
            *columns,
        ),
        note="Levels are counted from the lowest, which is 1.",
        people=True,
    )
