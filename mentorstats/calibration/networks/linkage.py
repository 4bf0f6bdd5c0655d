"""What lets the severity of raters be compared: shared lessons, shared candidates, or an assumption only?

Raters are linked where they share a candidate, directly or in a chain of raters and candidates: then
their severities differ by what the ratings show, whatever the candidates are like. Without a chain there
is only the assumption that candidates came to raters as if at random, and where a rater and a site or
cohort are the same thing, not even that. Raters are compared within their role.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.calibration.networks import notes as network_notes
from mentorstats.calibration.networks.bridges import bridges, cuts, firm_table
from mentorstats.calibration.networks.codes import VERSION, Forms, combined, forms
from mentorstats.calibration.networks.graphs import firm_parts, joined
from mentorstats.calibration.networks.meetings import counts, shared_lessons
from mentorstats.calibration.networks.notes import NONE, OTHER_ROLE, SAME_CANDIDATES, SAME_LESSONS
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.printed import Printed, Shown, counted

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

COUNTED = (
    Status.BY_ASSUMPTION.value,
    Status.NOT_IDENTIFIED.value,
    Status.ONE_RATER.value,
    Status.NO_RECORDS.value,
)
LINKS = (SAME_LESSONS, SAME_CANDIDATES, OTHER_ROLE, NONE)  # strongest first


@dataclass(frozen=True, repr=False)
class Linkage(Shown):
    """What lets raters be compared.

    Attributes
    ----------
    raters
        Indexed by rater and rater_role, a row each, also for raters without a usable rating:

        - ``n_lessons``, ``n_candidates``, and how many of them another rater rated too under the same
          version (``n_shared_lessons``, ``n_shared_candidates``); ``n_met_same_role`` and
          ``n_met_other_role``, raters with a candidate in common.
        - ``network``: raters of all roles joined by candidates, 1 for the one with most; ``n_in_network``
          raters of the same role are in it. Missing without a usable rating.
        - ``link``: the strongest kind of chain to more than half of the raters of the role in the network:
          the same lessons or the same candidates at other times, both through raters of the role alone,
          or through raters of another role (``same_lessons``, ``same_candidates``, ``other_role``,
          ``none``).
        - ``firm_part``: raters, of any role, who hold together by ``fewest_lessons`` shared lessons wherever
          they are cut, 1 for the largest of the network; ``thin``: the rater is not in it, or it is one
          rater alone.
        - ``n_cut_off_same_role``, ``n_cut_off_other_role``: raters who would be cut off from most of
          their role in the network without this one; ``holds_together``: the network would fall apart.
        - ``coincides``: site, cohort or rubric version that is the same thing as the rater, or as the group
          of raters whom a link or the assumption compares, for raters outside the network of most.
        - ``status``, ``status_note``: ``ok`` in the network that holds more than half of the role's
          raters; ``by_assumption`` outside it; ``not_identified`` where nobody of the role is in the
          network or rated at the same site, in the same cohort and under the same version, directly or
          in a chain; ``one_rater``; ``no_records``.
    roles
        Indexed by rater_role: numbers of the above, ``n_networks`` that hold raters of the role, and
        ``share_largest``, the largest one's share of them.
    bridges
        Indexed by bridge_kind (rater, lesson, candidate) and bridge, what a network hangs on:
        ``n_joined`` directly, and raters ``n_cut_off`` from the rest without it, of any role.
    parts
        Indexed by network and firm_part, the parts of at least two raters in a network of several parts:
        ``n_raters``, and ``n_joining_lessons`` that join it with the rest of the network.
    fewest_lessons
        As given.
    n_ratings
        Ratings used.
    notes
        What was left out, and what a reader has to know.
    """

    raters: pd.DataFrame
    roles: pd.DataFrame
    bridges: pd.DataFrame
    parts: pd.DataFrame
    fewest_lessons: float
    n_ratings: int
    notes: tuple[str, ...]

    @property
    def references(self) -> tuple[str, ...]:
        """Keys of the bibliography for what a network hangs on."""
        return ("hopcroft_tarjan_1973", "stoer_wagner_1997")

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        return Printed(
            title="Networks of raters: who can be compared with whom",
            facts=(
                counted(self.n_ratings, "rating"),
                *(_fact(str(role), row) for role, row in self.roles.iterrows()),
                f"Raters, lessons or candidates on which a network hangs: {len(self.bridges):,}",
            ),
            notes=self.notes,
            ask=(".raters", ".roles", ".bridges", ".parts", "base_fit(long)"),
            people=True,
        )


@entry()
def linkage(ratings: pd.DataFrame, *, fewest_lessons: float = 5, dependent: bool = False) -> Linkage:
    """Find the networks of raters, how each rater is linked in them and what they hang on.

    Parameters
    ----------
    ratings
        The long table: observation, candidate, rater, rater_role, level; rubric, rubric_version, site,
        cohort and independent where there are such columns. Ratings under different versions of a rubric
        link nobody, so a chain runs over versions only through raters who used both.
    fewest_lessons
        Shared lessons under which a link is called thin; the policy's ``linking_lessons``.
    dependent
        Let ratings count that are marked as not independent.

    Raises
    ------
    ColumnError, ArgumentError
        A column is missing, a lesson belongs to two candidates, or ``fewest_lessons`` is not above zero.
    """
    if not fewest_lessons > 0:
        raise ArgumentError(f"fewest_lessons is {fewest_lessons!r}", allowed="a number above zero")
    found = forms(ratings, dependent=dependent)
    rated = np.bincount(found.rater, minlength=len(found.raters)) > 0
    network = _numbered(joined(found.rater, [found.candidate], len(rated)), rated)
    role_network = combined([found.role, network], len(rated))
    in_network = np.where(rated, np.bincount(role_network)[role_network], 0)
    ties = shared_lessons(found)
    firm = firm_parts(ties, fewest_lessons)
    hangs = cuts(found)
    of_own_role = hangs.raters[np.arange(len(rated)), 1 + found.role]
    table = pd.DataFrame(counts(found), index=found.raters)
    table["network"] = _where(rated, network)
    table["n_in_network"] = in_network
    table["link"] = _links(found, role_network, in_network)
    part = _within(firm, network)
    table["firm_part"] = _where(rated, part)
    firmly = (part == 1) & (np.bincount(firm)[firm] > 1)
    table["thin"] = ~firmly & (np.bincount(network)[network] > 1) & rated
    table["n_cut_off_same_role"] = of_own_role
    table["n_cut_off_other_role"] = hangs.raters[:, 1:].sum(axis=1) - of_own_role
    table["holds_together"] = hangs.raters[:, 0] > 0
    alike = _alike(found)
    status = _status(found, rated, in_network, alike)
    table["status"] = status
    table["coincides"] = _coinciding(found, alike, status)
    table["status_note"] = network_notes.of_raters(table, fewest_lessons)
    return Linkage(
        raters=table,
        roles=_roles(table, found.roles),
        bridges=bridges(
            hangs, found, network, (table["n_met_same_role"] + table["n_met_other_role"]).to_numpy()
        ),
        parts=firm_table(table, ties),
        fewest_lessons=fewest_lessons,
        n_ratings=found.n_ratings,
        notes=network_notes.of_rows(found),
    )


@entry()
def by_version(
    ratings: pd.DataFrame, *, fewest_lessons: float = 5, dependent: bool = False
) -> dict[tuple[str, ...], Linkage]:
    """Find the networks under each version of each rubric by itself: (rubric, version) to its `linkage`.

    Severity is not pooled over versions, so what compares raters under one version is the other ratings
    under it. Ratings without a version are left out; without version columns there is nothing here.
    """
    keys = [name for name in VERSION if name in ratings.columns]
    if not keys:
        return {}
    return {
        tuple(map(str, key)): linkage(rows, fewest_lessons=fewest_lessons, dependent=dependent)
        for key, rows in ratings.groupby(keys, observed=True, sort=True)
    }


def _where(rated: Flags, numbers: Ints) -> pd.arrays.IntegerArray:
    return pd.arrays.IntegerArray(numbers, ~rated)


def _numbered(label: Ints, counted: Flags) -> Ints:
    """Number groups from 1, the largest first, those alike by their first member."""
    groups, first, number = np.unique(label, return_index=True, return_inverse=True)
    size = np.bincount(number, counted, minlength=len(groups))
    place = np.empty(len(groups), dtype=np.int64)
    place[np.lexsort((first, -size))] = np.arange(1, len(groups) + 1)
    return place[number]


def _within(label: Ints, network: Ints) -> Ints:
    """Number groups from 1 in each network, in the order of ``_numbered``."""
    number = _numbered(label, np.ones(len(label), dtype=bool))
    groups, home = np.unique(np.column_stack([network, number]), axis=0, return_inverse=True)
    first = np.searchsorted(groups[:, 0], groups[:, 0])
    return (np.arange(len(groups)) - first + 1)[home]


def _majority(label: Ints, within: Ints) -> Flags:
    """Whether more than half of the members of each one's ``within`` have the same ``label``."""
    both = combined([within, label], len(label))
    return np.asarray(2 * np.bincount(both)[both] > np.bincount(within)[within])


def _links(found: Forms, role_network: Ints, in_network: Ints) -> NDArray[np.str_]:
    """Strongest kind of chain to more than half of the raters of the role in the network."""
    roles = len(found.roles)
    of_role = found.role[found.rater]
    lessons = np.where(found.lesson >= 0, found.lesson * roles + of_role, -1)
    by_lessons = joined(found.rater, [lessons], len(found.raters))
    by_candidates = joined(found.rater, [found.candidate * roles + of_role], len(found.raters))
    return np.select(
        [
            in_network < 2,
            _majority(by_lessons, role_network),
            _majority(by_candidates, role_network),
        ],
        [NONE, SAME_LESSONS, SAME_CANDIDATES],
        OTHER_ROLE,
    )


def _alike(found: Forms) -> Ints:
    """Raters of a role whom candidates compare, or the assumption that candidates of a place are alike.

    A place is a site, cohort and rubric version together, as far as they are recorded.
    """
    raters, cell = len(found.raters), combined(list(found.places.values()), len(found.rater))
    return combined([found.role, joined(found.rater, [found.candidate, cell], raters)], raters)


def _status(found: Forms, rated: Flags, in_network: Ints, alike: Ints) -> list[str]:
    """Status of each rater, see `Linkage`."""
    of_role = np.bincount(found.role, rated, minlength=len(found.roles))[found.role]
    comparable = np.bincount(alike, rated)[alike] if len(rated) else alike
    chosen = np.select(
        [~rated, of_role == 1, 2 * in_network > of_role, comparable > 1],
        [Status.NO_RECORDS.value, Status.ONE_RATER.value, Status.OK.value, Status.BY_ASSUMPTION.value],
        Status.NOT_IDENTIFIED.value,
    )
    return [str(status) for status in chosen]


def _coinciding(found: Forms, alike: Ints, status: list[str]) -> list[str]:
    """Places where a rater, and those alike, are the only ones of the role, while they rated nowhere else."""
    texts: list[list[str]] = [[] for _ in alike]
    groups = pd.Series(alike[found.rater]).groupby(found.role[found.rater]).nunique()
    wanted = [
        at
        for at, one in enumerate(status)
        if one in (Status.BY_ASSUMPTION, Status.NOT_IDENTIFIED) and groups[found.role[at]] > 1
    ]
    for name, codes in found.places.items():
        frame = pd.DataFrame(
            {"role": found.role[found.rater], "place": codes, "alike": alike[found.rater]}
        ).drop_duplicates()
        frame["own"] = frame.groupby(["role", "place"])["alike"].transform("size") == 1
        own = frame.groupby("alike")["own"].all()
        where = frame.groupby("alike")["place"].agg(sorted)
        for at in wanted:
            if own[alike[at]]:
                texts[at].append(network_notes.place(name, found.names[name][where[alike[at]]]))
    for at in wanted:
        if not texts[at]:
            texts[at].append(f"{network_notes.listed(list(found.places))} together")
    return ["; ".join(parts) for parts in texts]


def _fact(role: str, of: pd.Series) -> str:
    """A role in a few words."""
    n_raters, n_networks = (0 if pd.isna(of[name]) else int(of[name]) for name in ("n_raters", "n_networks"))
    told = f"{role}: {counted(n_raters, 'rater')} in {counted(n_networks, 'network')}"
    share = of["share_largest"]
    return told if pd.isna(share) else f"{told}, {100 * share:.0f} % of them in the largest"


def _roles(raters: pd.DataFrame, roles: pd.Index) -> pd.DataFrame:
    """One row a role: how its raters are linked."""
    by_role = raters.groupby(level="rater_role", observed=True)
    linked = raters["status"] == Status.OK.value
    rated = raters["network"].notna().groupby(level="rater_role").sum()
    of = pd.DataFrame({"n_raters": rated, "n_networks": by_role["network"].nunique()})
    of["share_largest"] = by_role["n_in_network"].max() / rated.where(rated > 0)
    flags = {
        "n_linked": linked,
        **{f"n_{link}": linked & (raters["link"] == link) for link in LINKS[:-1]},
        **{f"n_{status}": raters["status"] == status for status in COUNTED},
        "n_thin": raters["thin"],
        "n_holding": raters["holds_together"],
    }
    for name, flag in flags.items():
        of[name] = flag.groupby(level="rater_role").sum().astype("int64")
    return of.reindex(pd.Index(roles.astype("str"), name="rater_role"))
