"""From a frame to a fitted engine, the way a model runs through the modules."""

import csv
from pathlib import Path

import numpy as np

from mentorstats.mixed.covariance import triangles
from mentorstats.mixed.crossproducts import cross_products, lay_blocks, meet
from mentorstats.mixed.engines import LinearEngine, OrdinalEngine, fit_ordinal
from mentorstats.mixed.layout import Declared
from mentorstats.mixed.linear import Problem
from mentorstats.mixed.ordinal import OrdinalProblem, cuts
from mentorstats.mixed.survey import rows, survey

REFERENCE = Path(__file__).parents[1] / "reference"


def reference(run):
    """Values an R run wrote: case to quantity to number."""
    found = {}
    with (REFERENCE / run / "values.csv").open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            found.setdefault(row["case"], {})[row["quantity"]] = float(row["value"])
    return found


def linear(frame, response, fixed=(), grouped=(), *, restricted=True, chunks=1, weights=None):
    declared = Declared(response, tuple(fixed), tuple(grouped), "linear", weights=weights)
    parts = [frame.iloc[at] for at in np.array_split(np.arange(len(frame)), chunks)]
    found = survey(lambda: parts, declared)
    sizes = tuple((member.m, member.k) for member in found.layout.members)
    sums = None
    for part in parts:
        of_part = cross_products(rows(part, found), sizes, shift=found.mean, scale=found.sd)
        sums = of_part if sums is None else sums + of_part
    free = triangles(sizes, [grouping.correlated for grouping in declared.grouped])
    blocks = lay_blocks(sizes, {pair: (left, right) for pair, (left, right, _) in sums.between.items()})
    problem = Problem(sums, blocks, free, restricted, float(np.log(found.sd)))
    solution, minimum = problem.optimise()
    scales = tuple(member.scales for member in found.layout.members)
    return LinearEngine(problem, solution, minimum, found.mean, found.sd, scales), found


def ordinal(frame, response, levels, fixed=(), grouped=(), *, link="logit", thresholds_by=None, scale=()):
    declared = Declared(
        response,
        tuple(fixed),
        tuple(grouped),
        "ordinal",
        levels=tuple(levels),
        link=link,
        thresholds_by=thresholds_by,
        scale=tuple(scale),
    )
    found = survey(lambda: [frame], declared)
    given = rows(frame, found)
    members = found.layout.members
    sizes = tuple((member.m, member.k) for member in members)
    meetings = {
        (s, t): meet(given.codes[s], given.codes[t], sizes[s][0], sizes[t][0])
        for t in range(len(sizes))
        for s in range(t)
    }
    blocks = (
        lay_blocks(sizes, {pair: (found.left, found.right) for pair, found in meetings.items()})
        if sizes
        else None
    )
    seen = np.zeros((len(found.threshold_groups), len(levels)), dtype=bool)
    seen[given.threshold_group, given.response.astype(int)] = True
    free = triangles(sizes, [grouping.correlated for grouping in declared.grouped])
    problem = OrdinalProblem(given, cuts(seen), link, free, blocks, meetings)
    state, minimum = fit_ordinal(problem)
    zero = (np.abs(state.psi[: problem.q]) <= 2 * problem.lower[: problem.q]) & free.diagonal
    return OrdinalEngine(problem, state, minimum, tuple(m.scales for m in members), zero), found
