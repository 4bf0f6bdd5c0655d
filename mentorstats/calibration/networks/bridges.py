"""What a network hangs on, and which of its parts hold together firmly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from mentorstats.calibration.networks.codes import RUBRIC_VERSION, Forms, first_rows
from mentorstats.calibration.networks.graphs import cut_off
from mentorstats.calibration.networks.meetings import pairs

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Cuts:
    """Raters cut off from the rest of their network by taking away one vertex.

    Columns are all raters, and then those of each role by itself.
    """

    raters: Ints  # (raters, 1 + roles)
    lessons: Ints
    candidates: Ints


def cuts(found: Forms) -> Cuts:
    """Take away each rater, lesson and candidate.

    Lessons stand between raters and candidates, so that a lesson can go and leave its candidate. With a
    candidate all lessons go, so candidates are taken away where raters meet them directly.
    """
    raters = len(found.raters)
    lesson = found.lesson
    lessons, candidates = len(found.lessons), len(found.candidates)
    known = lesson >= 0
    first = np.concatenate([found.rater, raters + lesson[known]])
    middle = np.where(known, raters + lesson, raters + lessons + found.candidate)
    second = np.concatenate([middle, raters + lessons + found.candidate[known]])
    through = cut_off(first, second, _weights(found, lessons + candidates))
    direct = cut_off(found.rater, raters + found.candidate, _weights(found, candidates))
    return Cuts(through[:raters], through[raters : raters + lessons], direct[raters:])


def _weights(found: Forms, others: int) -> Ints:
    """Raters count 1, in all and in their role; other vertices do not count."""
    raters = len(found.raters)
    weights = np.zeros((raters + others, 1 + len(found.roles)), dtype=np.int64)
    weights[:raters, 0] = 1
    weights[np.arange(raters), 1 + found.role] = 1
    return weights


def bridges(hangs: Cuts, found: Forms, network: Ints, met: Ints) -> pd.DataFrame:
    """Table whatever cuts somebody off, see `mentorstats.calibration.Linkage`; ``met``: (raters,)."""
    codes = found.raters.get_level_values
    version = found.names[RUBRIC_VERSION][found.places[RUBRIC_VERSION]]
    tables = [
        pd.DataFrame(
            {
                "bridge": codes("rater"),
                "rater_role": codes("rater_role"),
                "rubric_version": "",
                "network": network,
                "n_joined": met,
                "n_cut_off": hangs.raters[:, 0],
            }
        )
    ]
    for thing, names, n_cut_off in (
        (found.lesson, found.lessons, hangs.lessons[:, 0]),
        (found.candidate, found.candidates, hangs.candidates[:, 0]),
    ):
        what = pairs(found.rater, thing)[1]
        first = first_rows(thing)
        tables.append(
            pd.DataFrame(
                {
                    "bridge": names,
                    "rater_role": "",
                    "rubric_version": version[first],
                    "network": network[found.rater[first]],
                    "n_joined": np.bincount(what, minlength=len(names)),
                    "n_cut_off": n_cut_off,
                }
            )
        )
    table = pd.concat(tables, keys=["rater", "lesson", "candidate"], names=["bridge_kind", None])
    table = table[table["n_cut_off"] > 0].set_index("bridge", append=True).droplevel(1)
    text = ["rater_role", "rubric_version"]
    return table.astype(dict.fromkeys(text, "str")).sort_values(
        ["network", "n_cut_off"], ascending=[True, False], kind="stable"
    )


def firm_table(raters: pd.DataFrame, ties: sparse.csr_array) -> pd.DataFrame:
    """Table parts of at least two raters in networks of several, see `mentorstats.calibration.Linkage`."""
    rated = raters["network"].notna().to_numpy()
    home = raters.loc[rated, ["network", "firm_part"]].to_numpy(dtype=np.int64)
    numbers, codes = np.unique(home, axis=0, return_inverse=True)
    inside = ties[rated][:, rated].tocoo()
    leaving = codes[inside.row] != codes[inside.col]
    joining = np.bincount(codes[inside.row][leaving], inside.data[leaving], minlength=len(numbers))
    index = pd.MultiIndex.from_arrays([numbers[:, 0], numbers[:, 1]], names=["network", "firm_part"])
    size = np.bincount(codes, minlength=len(numbers))
    table = pd.DataFrame({"n_raters": size, "n_joining_lessons": joining}, index=index)
    several = table.groupby(level="network")["n_raters"].transform("size") > 1
    return table[several & (table["n_raters"] > 1)]
