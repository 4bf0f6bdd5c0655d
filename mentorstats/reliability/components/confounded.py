"""Facets that the records cannot tell from another one: site from rater, time from lesson."""

from __future__ import annotations

import numpy as np
import pandas as pd

from mentorstats.estimate import Status
from mentorstats.reliability.components.cells import Cells, Told
from mentorstats.reliability.components.design import Factors

COLUMNS = ("held_by", "status", "status_note")


def table(cells: Cells, told: Told) -> pd.DataFrame:
    """One row a facet, of the design or a column ``beside``, that has no component of its own.

    Returns
    -------
    DataFrame
        Indexed by facet: ``held_by``, the factor whose differences hold those of the facet, and status.
        ``not_identified``: the two divide the scores alike, or there is one member; nothing tells them apart.
        ``by_assumption``: the facet lies within the other one; its differences count as that one's, which is
        an assumption and not a finding.
    """
    rows = [*_of_design(cells, told), *(row for name in cells.beside for row in _of_column(cells, name))]
    index = pd.Index([name for name, *_ in rows], name="facet", dtype="str")
    return pd.DataFrame([rest for _, *rest in rows], columns=list(COLUMNS), index=index).astype("str")


def carriers(told: Told) -> dict[int, tuple[Factors, ...]]:
    """Components that hold more than the effect they are named by, and what; the residual is not counted."""
    return {
        at: several[1:]
        for at, several in enumerate(told.effects)
        if len(several) > 1 and at < len(told.effects) - 1
    }


def _of_design(cells: Cells, told: Told) -> list[tuple[str, str, str, str]]:
    design = cells.design
    rows = []
    for facet in design.facets:
        effect = design.closed({facet})
        if effect in told.constant:
            note = f"{facet} has one member, so that nothing shows what another would change."
            rows.append((facet, "", Status.NOT_IDENTIFIED.value, note))
        elif effect in told.confounded:
            other = design.name(told.confounded[effect])
            note = f"{facet} and {other} divide the scores alike; nothing tells them apart."
            rows.append((facet, other, Status.NOT_IDENTIFIED.value, note))
    return rows


def _of_column(cells: Cells, name: str) -> list[tuple[str, str, str, str]]:
    """What holds a column: the factors of fewest members of which each has one value of it."""
    codes = pd.factorize(cells.frame[name])[0]
    known = codes >= 0
    values = int(codes.max(initial=-1)) + 1
    if not known.any():
        return []
    if values == 1:
        note = f"{name} has one member, so that nothing shows what another would change."
        return [(name, "", Status.NOT_IDENTIFIED.value, note)]
    design = cells.design
    effects = [design.closed({factor}) for factor in design.factors]
    around = [effect for effect in effects if _one_each(cells.codes[effect][known], codes[known])]
    rows = []
    for effect in around:
        if any(other < effect for other in around):
            continue
        holder = design.name(effect)
        if len(np.unique(cells.codes[effect][known])) == values:
            note = f"{name} and {holder} divide the scores alike; nothing tells them apart."
            rows.append((name, holder, Status.NOT_IDENTIFIED.value, note))
        else:
            note = (
                f"Each {holder} has one {name}: what differs between one {name} and another counts as "
                f"differences of {holder}."
            )
            rows.append((name, holder, Status.BY_ASSUMPTION.value, note))
    return rows


def _one_each(members: np.ndarray, values: np.ndarray) -> bool:
    """Whether each member has a single value."""
    pairs = members * (int(values.max()) + 1) + values
    return len(np.unique(pairs)) == len(np.unique(members))
