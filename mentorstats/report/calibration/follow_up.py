"""Section: which raters need follow-up, and on what; and the follow-up sheet that a programme acts on."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from mentorstats.calibration.effects import DRIFT, EFFECTS, HALO, SEVERITY
from mentorstats.calibration.follow_up import Flags
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report.columns import carried, counted, group, statistic, text
from mentorstats.report.model import Concern, Figure, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, number
from mentorstats.report.wording import listed, raters_of, sentence

ABOUT = partial(
    Section, key="follow-up-flags", name="flags", question="Which raters need follow-up, and on what?"
)
SECTIONS = {
    SEVERITY: "severity",
    DRIFT: "drift",
    HALO: "spread-and-halo",
    "central tendency": "spread-and-halo",
    "range restriction": "spread-and-halo",
    "weighted fit": "rating-fit",
}
SHEET = partial(
    Section,
    key="follow-up-sheet",
    name="follow-up sheet",
    question="Follow-up sheet: raters flagged for a calibration conversation",
)
_HOW = (
    "Go through the raters in the order of the list. Begin with the flag in the column “Look at first” where "
    "there is one, because it can produce the other. Look at the ratings together with the rater before "
    "anything is concluded."
)


def section(found: Flags, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.flags`.
    """
    if not found.families["n_raters"].sum():
        return ABOUT(
            answer="No rater could be assessed on any effect; the sections above say why.",
            status=Status.NOT_IDENTIFIED,
        )
    return ABOUT(
        answer=_answer(found),
        detail=(_chance(found, policy),),
        main=("flags-by-effect",),
        tables=(_by_effect(found), _families(found.families)),
        findings=_findings(found, policy),
        method=(
            f"A rater with at least {policy.value('flag_candidates'):g} candidates and "
            f"{policy.value('flag_lessons'):g} lessons is flagged for an effect where two things hold: the "
            "unshrunken difference from the raters of the role passes Benjamini and Hochberg's procedure "
            f"among the raters of that role at q = {policy.value('flag_q'):g}, and its whole interval is "
            "beyond the smallest effect of interest, which the programme sets. Expected by chance is how "
            "many would be flagged in each row if no rater differed.",
            "Effects overlap: a rater whose severity changes over the weeks also appears to have halo, and "
            "one with halo also spreads ratings less. Look at drift and halo first.",
        ),
        references=("benjamini_hochberg_1995", "dempster_1959"),
        caution=(
            "A flag is a reason to look at ratings together. The rater may be the one who is right. That "
            "somebody is not flagged does not mean that nothing is there: few ratings show little.",
        ),
        verdict=None if _people(found) or not _left(found) else Verdict.NOT_CLEAR,
    )


def sheet(
    found: Flags, policy: Policy, figures: tuple[Figure, ...] = (), tables: tuple[Table, ...] = ()
) -> Section:
    """Build the follow-up sheet: each flagged rater, in which direction, how sure, and what to look at.

    Parameters
    ----------
    found
        From `mentorstats.calibration.flags`.
    figures, tables
        Interval charts of the raters of a role, with their tables.
    """
    return SHEET(
        answer=_answer(found),
        detail=(
            _chance(found, policy),
            *(() if not _people(found) else (_HOW,)),
        ),
        tables=(*_sheets(found), *tables),
        figures=figures,
    )


def _people(found: Flags) -> int:
    return len(found.flagged[["rater", "rater_role"]].drop_duplicates())


def _assessed(found: Flags) -> int:
    """Raters assessed on the effect on which most were."""
    return int(found.families.groupby("about")["n_raters"].sum().max())


def _left(found: Flags) -> int:
    """Raters not assessed on that effect."""
    return int(found.families.groupby("about")["n_not_assessed"].sum().min())


def _answer(found: Flags) -> str:
    n, of = _people(found), _assessed(found)
    left = _left(found)
    rest = f" {count(left, 'rater')} {'was' if left == 1 else 'were'} not assessed." if left else ""
    if not n:
        return f"No rater is flagged, of {of:,} assessed.{rest}"
    return (
        f"{n} of {count(of, 'rater')} assessed {'is' if n == 1 else 'are'} flagged for a calibration "
        f"conversation.{rest}"
    )


def _chance(found: Flags, policy: Policy) -> str:
    expected = number(float(found.families["flagged_by_chance"].sum()), "few")
    told = f"If no raters differed, about {expected} flags would be expected by chance"
    if not _people(found):
        return f"{told}."
    return f"{told}; of those flagged, about 1 in {round(1 / policy.value('flag_q'))} may still be wrong."


def _findings(found: Flags, policy: Policy) -> tuple[Finding, ...]:
    n = _people(found)
    if not n:
        return ()
    roles = sorted(found.flagged["rater_role"].astype("str").unique())
    effects = found.flagged["about"].value_counts()
    return (
        Finding(
            concern=Concern.RATERS_FLAGGED,
            what=f"{n} of {count(_assessed(found), 'rater')} assessed {'is' if n == 1 else 'are'} flagged, "
            f"mostly for {effects.index[0]}.",
            how_sure=_chance(found, policy),
            action="Hold a calibration conversation with each; the follow-up sheet says on what.",
            concerns=listed([raters_of(role) for role in roles]),
            speaks_for=tuple(dict.fromkeys(SECTIONS[name] for name in effects.index if name in SECTIONS)),
        ),
    )


def _by_effect(found: Flags) -> Table:
    """One row an effect, over roles."""
    families = found.families.groupby("about", sort=False)[
        ["n_raters", "n_flagged", "flagged_by_chance"]
    ].sum()
    data = families.reset_index()
    data["about"] = data["about"].map(sentence)
    return Table(
        key="flags-by-effect",
        title="Raters flagged, by effect",
        data=data,
        columns=(
            group("about", "Effect"),
            counted("n_raters", "Assessed", "number"),
            counted("n_flagged", "Flagged", "number"),
            statistic("flagged_by_chance", "Expected by chance", "few"),
        ),
    )


def _sheets(found: Flags) -> list[Table]:
    """One list a unit of measurement, so that numbers of a column can be compared."""
    rows = found.flagged
    order = {name: place for place, name in enumerate(EFFECTS)}
    tables = []
    for name in sorted(rows["about"].unique(), key=order.__getitem__):
        effect = EFFECTS[name]
        chosen = rows[rows["about"] == name].reset_index(drop=True)
        shown = chosen.rename(columns={"low": "value_low", "high": "value_high"})
        data = chosen[["rater", "rater_role", "n_candidates", "n_lessons", "words"]]
        data = data.join(carried(shown, {"value": "size"}))
        data["span"] = [_span(*days) for days in chosen[["first_day", "last_day"]].to_numpy()]
        data["first"] = [_first(rows, row, effect.explained_by) for _, row in chosen.iterrows()]
        tables.append(
            Table(
                key=f"flagged-{order[name]}",
                title=f"Flagged for {name} ({effect.unit})",
                data=data,
                columns=(
                    group("rater", "Rater"),
                    text("rater_role", "Role"),
                    counted("n_candidates", "Candidates", "people"),
                    counted("n_lessons", "Lessons", "lessons"),
                    text("span", "Rated from, to"),
                    text("words", "The rater …"),
                    statistic("size", "Difference from the role, unshrunken", "difference"),
                    text("first", "Look at first"),
                ),
                note=f"To look at: {effect.look}.",
                people=True,
            )
        )
    return tables


def _span(first: np.datetime64, last: np.datetime64) -> str:
    """Since when: the days between which the lessons lie that a flag rests on."""
    if pd.isna(first):
        return "no dates"
    days = [str(np.datetime_as_string(day, unit="D")) for day in (first, last)]
    return days[0] if days[0] == days[1] else ", ".join(days)


def _first(rows: pd.DataFrame, row: pd.Series, explained_by: tuple[str, ...]) -> str:
    """Other flags of the same rater that can produce this one."""
    same = rows[(rows["rater"] == row["rater"]) & (rows["rater_role"] == row["rater_role"])]
    return listed([name for name in explained_by if (same["about"] == name).any()])


def _families(families: pd.DataFrame) -> Table:
    data = families.assign(
        unit=families["about"].map(lambda name: EFFECTS[name].unit),
        about=families["about"].map(sentence),
        role=families["rater_role"].map(lambda role: sentence(raters_of(str(role)))),
    )
    return Table(
        key="flags-families",
        title="Raters assessed and flagged, by effect and role",
        data=data,
        columns=(
            group("about", "Effect"),
            group("role", "Role"),
            counted("n_raters", "Assessed", "number"),
            counted("n_not_assessed", "Not assessed", "number"),
            counted("n_flagged", "Flagged", "number"),
            statistic("flagged_by_chance", "Expected by chance", "ratio"),
            statistic("smallest", "Smallest effect of interest", "ratio"),
            text("unit", "Unit"),
        ),
    )
