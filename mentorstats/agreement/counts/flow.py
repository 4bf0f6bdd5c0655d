"""Which ratings enter a comparison of two roles, and what each filter excludes."""

from __future__ import annotations

import pandas as pd

from mentorstats.agreement.counts.pairing import ROLES, UNIT
from mentorstats.errors import need_columns


def checks(long: pd.DataFrame, *, roles: tuple[str, str] = ROLES) -> pd.DataFrame:
    """Say of every rating what lets it enter a comparison of the two roles.

    Parameters
    ----------
    long
        The long table (`Records.long`).

    Returns
    -------
    DataFrame
        One row a rating, yes/no columns in the order in which they are asked: ``has_level``,
        ``of_either_role``, ``other_role_too`` (the other role gave a level to the same criterion of
        the same lesson under the same version), ``not_marked_dependent`` (neither it nor some
        rating of the other role there is marked as not independent; not recorded counts as
        independent). A rating enters where all are true.
    """
    need_columns(long.columns, [*UNIT, "level", "rater_role", "independent"], where="long table")
    has_level = long["level"].notna()
    named = long[UNIT].notna().all(axis=1)
    of_either = long["rater_role"].isin(roles)
    independent = long["independent"].astype("boolean").fillna(True).astype(bool)
    unit = [long[name] for name in UNIT]
    both = {}
    for name, counted in (("any", has_level), ("independent", has_level & independent)):
        of_role = pd.DataFrame({role: counted & (long["rater_role"] == role) for role in roles})
        both[name] = named & of_role.groupby(unit, observed=True, dropna=False).transform("any").all(axis=1)
    return pd.DataFrame(
        {
            "has_level": has_level,
            "of_either_role": of_either,
            "other_role_too": both["any"],
            "not_marked_dependent": independent & both["independent"],
        }
    )


def flow(yes_no: pd.DataFrame) -> pd.DataFrame:
    """Count what each yes/no column leaves out, in order.

    Returns
    -------
    DataFrame
        Indexed by column: ``n_left_out`` (rows that fail here first) and ``n`` (rows that remain).
    """
    remaining = yes_no.cumprod(axis=1).sum().astype("int64")
    before = remaining.shift(1, fill_value=len(yes_no))
    return pd.DataFrame({"n_left_out": before - remaining, "n": remaining}).rename_axis("check")
