"""With whom to talk, and about what: the calls on every effect of raters, with chance beside them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import partial

import pandas as pd

from mentorstats.calibration.flags import expected_by_chance, mark
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.policy import Policy


@dataclass(frozen=True, slots=True)
class Effect:
    """Something that raters may differ in, and when it is large enough to talk about.

    ``scale`` is the column of the rater table that the policy's row ``smallest`` is about; ``higher`` and
    ``lower`` say in words what a contrast above and below zero means.
    """

    scale: str
    smallest: str
    higher: str
    lower: str


EFFECTS: Mapping[str, Effect] = {
    "severity": Effect("contrast_level", "smallest_effect_level", "rates higher", "rates lower"),
    "drift over weeks": Effect(
        "contrast_level", "smallest_drift_level", "rates higher as weeks go by", "rates lower as weeks go by"
    ),
    "central tendency": Effect(
        "contrast", "smallest_central_tendency", "keeps near the middle levels", "goes to the end levels more"
    ),
    "range restriction": Effect(
        "contrast", "smallest_range_restriction", "spreads ratings more", "spreads ratings less"
    ),
    "halo": Effect(
        "contrast", "smallest_halo", "rates the criteria of a lesson alike", "rates them less alike"
    ),
    "fit by information": Effect(
        "contrast", "smallest_misfit", "is harder to predict", "is easier to predict"
    ),
}


@dataclass(frozen=True)
class Talks:
    """The calls on all effects.

    Attributes
    ----------
    marks
        A row each marked rater and effect, by rater: ``rater, rater_role, n_candidates, about`` (the
        effect), ``words``, the contrast on the scale of the smallest effect (``value, low, high``) and
        ``p_adjusted``.
    families
        A row each effect and role: ``n_raters``, how many were judged; ``n_no_call``, how many could not be
        judged, ``n_too_few`` of them for too few candidates or lessons; ``n_marked``; ``marks_by_chance``,
        how many marks are expected if no rater differed; ``smallest``, the smallest effect of interest.
    tables
        The tables given, with the columns of `mark`.
    chance
        `expected_by_chance` of each effect.
    """

    marks: pd.DataFrame
    families: pd.DataFrame
    tables: Mapping[str, pd.DataFrame]
    chance: Mapping[str, pd.DataFrame]


MARKS = ["rater", "rater_role", "n_candidates", "about", "words", "value", "low", "high", "p_adjusted"]
FEWEST = {"n_candidates": "calls_candidates", "n_lessons": "calls_lessons"}  # column to rule
COUNTED = ["n_raters", "n_no_call", "n_too_few", "n_marked"]
FAMILIES = ["about", "rater_role", *COUNTED, "marks_by_chance", "smallest"]


def talks(
    tables: Mapping[str, pd.DataFrame], policy: Policy, *, not_ignorable: Collection[str] = ()
) -> Talks:
    """Make the calls on every effect by the policy's rules.

    Parameters
    ----------
    tables
        A rater table for each name of `EFFECTS` that is to be judged, with ``n_candidates``, ``n_lessons``.
    policy
        Rows ``calls_q``, ``calls_candidates``, ``calls_lessons`` and the smallest effects of `EFFECTS`.
    not_ignorable
        Roles whose candidates did not come as if at random: none of their raters is judged on anything.

    Raises
    ------
    ArgumentError
        A name is none of `EFFECTS`.
    """
    unknown = [name for name in tables if name not in EFFECTS]
    if unknown:
        raise ArgumentError(f"no effect {unknown[0]!r}", allowed=list(EFFECTS))
    q = policy.value("calls_q")
    fewest = {column: policy.value(rule) for column, rule in FEWEST.items()}
    judge = partial(mark, q=q, not_ignorable=not_ignorable, fewest=fewest)
    expect = partial(expected_by_chance, q=q, not_ignorable=not_ignorable, fewest=fewest)
    called: dict[str, pd.DataFrame] = {}
    chance: dict[str, pd.DataFrame] = {}
    families: list[pd.DataFrame] = []
    for name, table in tables.items():
        scale, smallest = EFFECTS[name].scale, policy.value(EFFECTS[name].smallest)
        called[name] = judge(table, smallest=smallest, scale=scale)
        chance[name] = expect(table, smallest=smallest, scale=scale)
        families.append(_family(name, called[name], chance[name]).assign(smallest=smallest))
    marks = [_marked(name, table) for name, table in called.items()]
    found = pd.concat(marks, ignore_index=True) if marks else pd.DataFrame(columns=MARKS)
    return Talks(
        found.sort_values(["rater_role", "rater"], kind="stable", ignore_index=True),
        pd.concat(families, ignore_index=True) if families else pd.DataFrame(columns=FAMILIES),
        called,
        chance,
    )


def _marked(name: str, table: pd.DataFrame) -> pd.DataFrame:
    effect = EFFECTS[name]
    rows = table[table["marked"].fillna(False).to_numpy(dtype=bool)]
    return pd.DataFrame(
        {
            "rater": rows["rater"].astype("str"),
            "rater_role": rows["rater_role"].astype("str"),
            "n_candidates": rows["n_candidates"],
            "about": name,
            "words": [effect.higher if value > 0 else effect.lower for value in rows["contrast"]],
            "value": rows[effect.scale],
            "low": rows[f"{effect.scale}_low"],
            "high": rows[f"{effect.scale}_high"],
            "p_adjusted": rows["p_adjusted"],
        },
        columns=MARKS,
    )


def _family(name: str, table: pd.DataFrame, chance: pd.DataFrame) -> pd.DataFrame:
    few = table["call_status"].eq(Status.TOO_FEW_TO_ASSESS.value)
    counted = (
        table.assign(few=few)
        .groupby(table["rater_role"].astype("str"))
        .agg(
            n_raters=("marked", "count"),
            n_no_call=("marked", lambda x: int(x.isna().sum())),
            n_too_few=("few", "sum"),
            n_marked=("marked", "sum"),
        )
    )
    counted["marks_by_chance"] = chance["marks_by_chance"].reindex(counted.index).fillna(0.0)
    return counted.rename_axis("rater_role").reset_index().assign(about=name)[FAMILIES[:-1]]
