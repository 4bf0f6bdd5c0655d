"""Which raters need follow-up, and on what: flags on every effect, with what chance would do.

For monitoring and rater training. Not a sole basis for any decision about a rater or a candidate; the
programme's policy, local rules and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from mentorstats.calibration.effects import EFFECTS
from mentorstats.calibration.flags import Enough, expected_by_chance, flag
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.policy import Policy
from mentorstats.printed import Printed, Shown, counted


@dataclass(frozen=True, repr=False)
class Flags(Shown):
    """The flags on all effects.

    Attributes
    ----------
    flagged
        A row each flagged rater and effect, by rater: ``rater, rater_role, n_candidates, n_lessons,
        first_day, last_day`` (of the lessons that the rater rated), ``about`` (the effect), ``words``, the
        contrast on the scale of the smallest effect (``value, low, high``) and ``p_adjusted``.
    families
        A row each effect and role: ``n_raters``, how many were assessed; ``n_not_assessed``, how many were
        not; ``n_flagged``; ``flagged_by_chance``, how many are expected if no rater differed; ``smallest``,
        the smallest effect of interest.
    tables
        The tables given, with the columns of `flag`.
    chance
        `expected_by_chance` of each effect.
    """

    flagged: pd.DataFrame
    families: pd.DataFrame
    tables: Mapping[str, pd.DataFrame]
    chance: Mapping[str, pd.DataFrame]

    @property
    def references(self) -> tuple[str, ...]:
        """Keys of the bibliography for the rule by which raters are flagged."""
        return ("benjamini_hochberg_1995",)

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        people = self.flagged[["rater", "rater_role"]].drop_duplicates()
        by_chance = float(self.families["flagged_by_chance"].sum())
        return Printed(
            title="Flags on raters",
            facts=(
                f"{counted(len(self.flagged), 'flag')} on {counted(len(people), 'rater')}, "
                f"{counted(len(self.tables), 'effect')} looked at",
                f"If no raters differed, about {by_chance:.1f} would be flagged by chance; of those flagged, "
                "a share of up to the policy's flag_q may still be wrong",
            ),
            ask=(".flagged", ".families", ".tables", ".chance"),
            people=True,
        )


FLAGGED = [
    "rater",
    "rater_role",
    "n_candidates",
    "n_lessons",
    "first_day",
    "last_day",
    "about",
    "words",
    "value",
    "low",
    "high",
    "p_adjusted",
]
FAMILIES = ["about", "rater_role", "n_raters", "n_not_assessed", "n_flagged", "flagged_by_chance", "smallest"]


@entry()
def flags(
    tables: Mapping[str, pd.DataFrame],
    policy: Policy,
    *,
    not_ignorable: Collection[str] = (),
    ratings: pd.DataFrame | None = None,
) -> Flags:
    """Flag raters on every effect by the policy's rules.

    Parameters
    ----------
    tables
        A rater table for each name of `EFFECTS` that is to be judged.
    policy
        Rows ``flag_q``, ``flag_candidates``, ``flag_lessons`` and the smallest effects of `EFFECTS`.
    not_ignorable
        Roles whose candidates were not assigned as if at random: none of their raters is assessed.
    ratings
        The ratings with ``rater``, ``rater_role`` and ``date``, for the days of first and last lessons; they
        are missing without it, and where no lesson of a rater has a date.

    Raises
    ------
    ArgumentError
        A name is none of `EFFECTS`.
    """
    unknown = [name for name in tables if name not in EFFECTS]
    if unknown:
        raise ArgumentError(f"no effect {unknown[0]!r}", allowed=list(EFFECTS))
    q = policy.value("flag_q")
    enough = Enough(policy.rule("flag_candidates"), policy.rule("flag_lessons"))
    found: dict[str, pd.DataFrame] = {}
    chance: dict[str, pd.DataFrame] = {}
    families: list[pd.DataFrame] = []
    for name, table in tables.items():
        smallest = policy.value(EFFECTS[name].smallest)
        rules: dict[str, Any] = {"q": q, "smallest": smallest, "scale": EFFECTS[name].scale}
        rules |= {"not_ignorable": not_ignorable, "enough": enough}
        found[name], chance[name] = flag(table, **rules), expected_by_chance(table, **rules)
        families.append(_family(name, found[name], chance[name]).assign(smallest=smallest))
    parts = [_flagged(name, table) for name, table in found.items()]
    rows = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=FLAGGED)
    rows = _with_days(rows, ratings)
    return Flags(
        rows.sort_values(["rater_role", "rater"], kind="stable", ignore_index=True),
        pd.concat(families, ignore_index=True) if families else pd.DataFrame(columns=FAMILIES),
        found,
        chance,
    )


def _with_days(rows: pd.DataFrame, ratings: pd.DataFrame | None) -> pd.DataFrame:
    """The flagged rows with the days of each rater's first and last lesson, in the order of `FLAGGED`."""
    who = ["rater", "rater_role"]
    if rows.empty or ratings is None or "date" not in ratings:
        never = pd.Series(pd.NaT, index=rows.index, dtype="datetime64[us]")
        return rows.assign(first_day=never, last_day=never)[FLAGGED]
    dated = pd.DataFrame({name: ratings[name].astype("str") for name in who})
    dated["day"] = pd.to_datetime(ratings["date"])
    days = dated.groupby(who)["day"].agg(first_day="min", last_day="max")
    return rows.drop(columns=["first_day", "last_day"], errors="ignore").join(days, on=who)[FLAGGED]


def _flagged(name: str, table: pd.DataFrame) -> pd.DataFrame:
    effect = EFFECTS[name]
    rows = table[table["flagged"].fillna(False).to_numpy(dtype=bool)]
    return pd.DataFrame(
        {
            "rater": rows["rater"].astype("str"),
            "rater_role": rows["rater_role"].astype("str"),
            "n_candidates": rows["n_candidates"],
            "n_lessons": rows["n_lessons"],
            "about": name,
            "words": [effect.higher if value > 0 else effect.lower for value in rows["contrast"]],
            "value": rows[effect.scale],
            "low": rows[f"{effect.scale}_low"],
            "high": rows[f"{effect.scale}_high"],
            "p_adjusted": rows["p_adjusted"],
        }
    )


def _family(name: str, table: pd.DataFrame, chance: pd.DataFrame) -> pd.DataFrame:
    counted = table.groupby(table["rater_role"].astype("str")).agg(
        n_raters=("flagged", "count"),
        n_not_assessed=("flagged", lambda x: int(x.isna().sum())),
        n_flagged=("flagged", "sum"),
    )
    counted["flagged_by_chance"] = chance["flagged_by_chance"].reindex(counted.index).fillna(0.0)
    return counted.rename_axis("rater_role").reset_index().assign(about=name)[FAMILIES[:6]]
