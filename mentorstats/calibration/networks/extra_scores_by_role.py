"""Which raters of a role are compared by assumption only, and what would link them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.calibration.networks.extra_scores import Links, fewest_links, networks
from mentorstats.errors import need_columns

OWN = ("mentor",)  # roles that rate in classes of their own
COLUMNS = ("candidate", "observation", "rater", "rater_role")


@dataclass(frozen=True)
class RoleLinks:
    """Networks of the raters of one role, and the fewest double-scorings that would join them.

    Attributes
    ----------
    role
        The role.
    n_raters, n_networks
        Raters, and separate networks of them when candidates they share with raters of any role join them.
    n_networks_within
        Networks when only raters of the role count as links.
    table
        A row an extra double-scoring: code of the rater who would come, of the candidate whose lesson it
        is, the two networks, ``closes_ring`` (not needed to join, but to hold without any one rater), cost.
    own
        Whether raters of the role stay with candidates of their own: mentors, and those of whom none has met
        two candidates. They are linked through others if at all, and no double-scoring is proposed.
    """

    role: str
    n_raters: int
    n_networks: int
    n_networks_within: int
    table: pd.DataFrame
    own: bool

    @property
    def n_joining(self) -> int:
        """Double-scorings that join all networks into one."""
        return int((~self.table["closes_ring"]).sum())


def role_links(ratings: pd.DataFrame, *, price: float = 1.0) -> list[RoleLinks]:
    """Find the networks of each role, and what would link them.

    Parameters
    ----------
    ratings
        Long table or scores: candidate, observation, rater, rater_role; rows with one missing do not count.
    price
        Of one more lesson scored.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, or the price is below zero.
    """
    need_columns(ratings.columns, COLUMNS, where="ratings")
    lessons = ratings[list(COLUMNS)].dropna().astype("str").drop_duplicates()
    if lessons.empty:
        return []
    person = pd.factorize(lessons["rater_role"] + "\0" + lessons["rater"])[0]
    of_rater, _ = networks(person, pd.factorize(lessons["candidate"])[0])
    lessons = lessons.assign(whole=of_rater[person])
    return [_of_role(str(role), rows, price) for role, rows in lessons.groupby("rater_role", sort=True)]


def _of_role(role: str, rows: pd.DataFrame, price: float) -> RoleLinks:
    rater, raters = pd.factorize(rows["rater"], sort=True)
    rated, candidates = pd.factorize(rows["candidate"], sort=True)
    whole = rows["whole"].groupby(rater).first().to_numpy()
    found = fewest_links(rater, rated, network=whole, price=price)
    within = int(networks(rater, rated)[0].max()) + 1
    stays = len(raters) > 1 and bool(rows.groupby("rater")["candidate"].nunique().max() == 1)
    table = _table(found, raters, candidates)
    own = role in OWN or stays
    return RoleLinks(role, len(raters), found.n_networks, within, table.iloc[:0] if own else table, own)


def _table(found: Links, raters: pd.Index, candidates: pd.Index) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "rater": raters.take(found.rater),
            "candidate": candidates.take(found.rated),
            "from_network": found.network + 1,
            "to_network": found.other_network + 1,
            "closes_ring": found.closing,
            "cost": found.cost,
        }
    )
