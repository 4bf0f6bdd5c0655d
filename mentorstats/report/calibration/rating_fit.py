"""Section: are ratings noisier or more regular than expected, and which levels does each rater use?"""

from __future__ import annotations

import pandas as pd

from mentorstats.calibration.raters.level_use import never_used
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.calibration import beyond_limits
from mentorstats.report.calibration.beyond_limits import Look
from mentorstats.report.model import BOUNDS, STATUS, Section, Table
from mentorstats.report.numbers import number
from mentorstats.report.small_groups import blank, raters_of_enough

QUESTION = "Do raters rate as consistently as their role and the rubric make likely, with every level?"
KEYS = ["rater_role", "rater"]
FIT = {"": "fit", "_expected": "fit_expected"}


def section(
    information: pd.DataFrame,
    response: pd.DataFrame,
    criteria: pd.DataFrame,
    use: pd.DataFrame,
    policy: Policy,
) -> Section:
    """Build the section.

    Parameters
    ----------
    information, response
        From `mentorstats.calibration.rating_fit`, one of each kind.
    criteria
        From `mentorstats.calibration.criterion_fit`.
    use
        From `mentorstats.calibration.level_use`.
    """
    if information["contrast"].isna().all():
        why = information["status_note"].iloc[0] if len(information) else "There are no ratings."
        answer = f"This cannot be told from the records. {why}".strip()
        return Section(key="rating-fit", question=QUESTION, answer=answer, status=Status.NO_RECORDS)
    confidence = policy.value("confidence")
    looks = (
        Look("Fit by information", information, "fit", "fit_expected"),
        Look("Fit by response", response, "fit", "fit_expected"),
    )
    minimum = policy.rule("minimum_group_size")
    summary = beyond_limits.table("rating-fit-summary", "Raters beyond the limits", looks, confidence)
    return Section(
        key="rating-fit",
        question=QUESTION,
        answer=_answer(tuple(look.of_enough(minimum) for look in looks), use, confidence),
        tables=(
            blank(summary, minimum),
            raters_of_enough(_raters(information, response, use), minimum),
            blank(_criteria(criteria), minimum),
            raters_of_enough(_levels(use), minimum),
        ),
        method=(
            "Fit compares each rating with what the base fit expects of that candidate, lesson, criterion "
            "and rater: the mean of the squared differences over their variances. By information, the "
            "differences of surely placed ratings count for more; by response every rating counts alike, so "
            "that a few surprising ratings show. Above the limits ratings are noisier than expected, below "
            "them more regular.",
            "Limits come from ratings drawn from the base fit, with new effects of lessons and forms; the "
            "effects were predicted anew from each draw, the fit was not made again. Fits lie below 1 on "
            "average because expectations are fitted to the ratings. Fixed limits from rules of thumb "
            "mislead and are not used. The use of levels is held to the same draws.",
        ),
        references=("wright_masters_1982", "guo_wind_2021"),
        caution=(
            "A reason to look and to talk: no ranking, and no sole basis for a decision about a person. "
            "Noisy ratings may come from unusual lessons or a criterion that is hard to see; regular ones "
            "from a rater who holds to one impression. Of many raters some lie beyond the limits by "
            "chance.",
        ),
    )


def _answer(looks: tuple[Look, ...], use: pd.DataFrame, confidence: float) -> str:
    fit = looks[0]
    never = never_used(use)
    odd = never[never["p_unused"] < (1 - confidence)]
    n = odd[KEYS].drop_duplicates().shape[0]
    left = f"{n} never gave a level that their lessons make likely" if n else "none left out a likely level"
    return (
        f"{beyond_limits.told(fit, 'above', 'rated more noisily than expected', confidence)}, "
        f"{beyond_limits.told(fit, 'below', 'more regularly', confidence)}; {left}."
    )


def _raters(information: pd.DataFrame, response: pd.DataFrame, use: pd.DataFrame) -> Table:
    data = information[[*KEYS, "n_candidates", "n_lessons", "n_ratings"]].copy()
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    for stem, found in (("information", information), ("response", response)):
        rows = found.set_index(KEYS).reindex(pd.MultiIndex.from_frame(information[KEYS]))
        for suffix, source in FIT.items():
            for end in ("", *BOUNDS):
                if source + end in rows:
                    data[stem + suffix + end] = rows[source + end].to_numpy()
            data[stem + suffix + STATUS] = rows["status"].to_numpy()
    keys = zip(information["rater_role"], information["rater"], strict=True)
    without = _without(use)
    data["unused"] = [without.get(key, "") for key in keys]
    return Table(
        key="rating-fit-raters",
        title="Each rater, in the order of role and code",
        data=data,
        labels={
            "rater": "Rater",
            "rater_role": "Role",
            "n_lessons": "Lessons",
            "n_ratings": "Ratings",
            "information": "Fit by information",
            "information_expected": "Expected, with limits",
            "response": "Fit by response",
            "response_expected": "Expected, with limits",
            "unused": "Levels never given (chance of that)",
        },
        units={
            "n_lessons": "lessons",
            "n_ratings": "ratings",
            **dict.fromkeys(
                ("information", "information_expected", "response", "response_expected"), "mean_square"
            ),
        },
        group_columns=("rater_role", "rater"),
        count_columns=("n_lessons", "n_ratings"),
        statistic_columns=("information", "information_expected", "response", "response_expected"),
        folded=True,
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
        title="Each criterion, over all raters: fit by information",
        data=found.assign(
            version=[
                wording.version(str(rubric), str(version)).capitalize()
                for rubric, version in zip(found["rubric"], found["rubric_version"], strict=True)
            ],
            fit_status=found["status"],
        ),
        labels={
            "version": "Rubric",
            "criterion": "Criterion",
            "n_raters": "Raters",
            "n_ratings": "Ratings",
            "fit": "Fit by information",
            "fit_expected": "Expected, with limits",
        },
        units={
            "n_raters": "raters",
            "n_ratings": "ratings",
            "fit": "mean_square",
            "fit_expected": "mean_square",
        },
        group_columns=("version", "criterion"),
        count_columns=("n_raters", "n_ratings"),
        statistic_columns=("fit", "fit_expected"),
    )


def _levels(use: pd.DataFrame) -> Table:
    """One row a rater; each level given, and beside it what was expected."""
    levels = sorted(use["level"].unique())
    first = use[use["level"] == levels[0]]
    data = first[[*KEYS, "n_candidates", "n_ratings"]].reset_index(drop=True)
    labels = {"rater": "Rater", "rater_role": "Role", "n_ratings": "Ratings"}
    names = []
    for level in levels:
        own = use[use["level"] == level].reset_index(drop=True)
        given, expected = f"given_{level}", f"expected_{level}"
        data[given], data[expected] = own["observed_share"], own["expected_share"]
        for end in BOUNDS:
            data[expected + end] = own["expected_share" + end]
        data[expected + STATUS] = own["status"]
        labels |= {given: f"Level {level}", expected: f"Expected {level}"}
        names += [given, expected]
    data["rater_role"] = data["rater_role"].map(lambda name: wording.sentence(str(name)))
    return Table(
        key="rating-fit-levels",
        title="Share of each level by rater, and limits of what was expected",
        data=data,
        labels=labels,
        units={"n_ratings": "ratings", **dict.fromkeys(names, "share")},
        group_columns=("rater_role", "rater"),
        count_columns=("n_ratings",),
        statistic_columns=tuple(names),
        note="Levels are counted from the lowest, which is 1.",
        folded=True,
    )
