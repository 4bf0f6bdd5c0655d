"""What the command ``agree`` shows beside the coefficients: intraclass correlations of the same ratings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from mentorstats import agreement
from mentorstats.agreement.counts.coding import names
from mentorstats.errors import need_columns


@dataclass(frozen=True, slots=True)
class Intraclass:
    """A table of intraclass correlations, and what to say of it.

    Attributes
    ----------
    found
        From ``icc`` or ``icc_incomplete``.
    note
        On what the table rests.
    """

    found: pd.DataFrame
    note: str


def intraclass(
    frame: pd.DataFrame,
    *,
    unit: Sequence[str],
    rater: Sequence[str],
    level: str,
    levels: Sequence[object],
    cluster: Sequence[str] | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> Intraclass | None:
    """Intraclass correlations of complete or incomplete ratings, whichever they are.

    Complete ratings without clusters go to ``icc``; all others to ``icc_incomplete``, which lets units of
    one cluster be alike and on complete data has the same values.

    Parameters
    ----------
    frame, unit, rater, level, levels, cluster, confidence, seed
        As in `coefficients`. Of several cluster columns each gets a component.

    Returns
    -------
    Intraclass or None
        None where the function that is needed is not there.
    """
    whole = is_complete(frame, unit=unit, rater=rater, level=level)
    name = "icc" if whole and not cluster else "icc_incomplete"
    compute: Callable[..., pd.DataFrame] | None = getattr(agreement, name, None)
    if compute is None:
        return None
    asked: dict[str, object] = {} if name == "icc" else {"seed": seed}
    if cluster:
        asked["cluster"] = list(cluster)
    found = compute(
        frame,
        unit=list(unit),
        rater=list(rater),
        level=level,
        levels=list(levels),
        confidence=confidence,
        **asked,
    )
    return Intraclass(found, _note(whole, cluster, found))


def is_complete(frame: pd.DataFrame, *, unit: Sequence[str], rater: Sequence[str], level: str) -> bool:
    """Whether every rater rated every unit, of the rows that have unit, rater and level."""
    need_columns(frame.columns, [*names(unit), *names(rater), level], where="ratings")
    usable = frame.dropna(subset=[*names(unit), *names(rater), level])
    n_units = usable.groupby(list(unit), observed=True).ngroups
    n_raters = usable.groupby(list(rater), observed=True).ngroups
    return n_units * n_raters == len(usable)


def _note(whole: bool, cluster: Sequence[str] | None, found: pd.DataFrame) -> str:
    """Say what the table rests on: which cluster columns have a component, and which have none and why."""
    said = ["Every rater rated every unit." if whole else "Not every rater rated every unit."]
    named = str(found["components"].iloc[0]).split(", ") if "components" in found else []
    used = [name for name in cluster or [] if name in named]
    idle = [name for name in cluster or [] if name not in named]
    if used:
        said.append(f"The intervals let units of one {' and of one '.join(used)} be alike.")
    if idle and any(named):
        said.append(
            f"No use was made of {', '.join(idle)}, which holds one unit each or the same units together as "
            "another cluster column."
        )
    return " ".join(said)
