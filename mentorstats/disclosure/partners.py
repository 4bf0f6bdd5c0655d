"""Which further cells to hide so that what is hidden cannot be worked out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_array, csr_array, eye_array

from mentorstats.disclosure.audit import exposed
from mentorstats.disclosure.bounds import narrow, system
from mentorstats.disclosure.published import Published
from mentorstats.errors import ArgumentError, DisclosureError

Floats = NDArray[np.float64]
_MOVED = 1e-6  # a cell that moves by more than this must be hidden
_BY_SIZE = 0.1  # at most this much dearer is the largest cell: of equally many, the smaller ones are hidden
_MOST_TIMES = 20  # rounds for one order; each hides at least one cell more


def partners(
    published: Published, protected: Sequence[str], *, width: float, minimum: float = 0.0
) -> Published:
    """Hide the protected cells, and as few others as keep them from being worked out.

    Parameters
    ----------
    protected
        Cells of too few people.
    width
        Least distance between the bounds of each.
    minimum
        What cells hidden in one line must have together where their total is shown.

    Returns
    -------
    Published
        With the hidden cells chosen.

    Raises
    ------
    DisclosureError
        No choice protects a cell: everything that it adds up with is hidden, and it is still known.

    Notes
    -----
    For each cell in turn the linear program of [fischetti_salazar_2001] moves it up and down by ``width``
    in all, at the least cost of other cells that move along; those are hidden. What turns out not to be
    needed is shown again. Of three orders and prices the one that hides least is taken. Greedy, so not
    always the optimum; `fewest_partners` finds that on small tables.
    """
    need, size = list(protected), published.values()
    rising = sorted(need, key=lambda name: size[name])
    tries = [(rising, True), (rising[::-1], True), (rising, False)]
    best: Published | None = None
    for order, by_size in tries if need else []:
        found = _pruned(_grown(published, order, by_size, width, minimum), need, width, minimum)
        if best is None or _cost(found) < _cost(best):
            best = found
    return published.hiding([]) if best is None else best


def _cost(published: Published) -> tuple[int, float]:
    """How much is hidden: cells, then people."""
    gone = published.cells.loc[published.hidden, "value"]
    return len(gone), float(gone.sum())


def _grown(
    published: Published, order: Sequence[str], by_size: bool, width: float, minimum: float
) -> Published:
    """Hide more until every cell of the order is protected."""
    free = published.hiding(list(published.cells.index))
    found = published.hiding(order)
    demand = dict.fromkeys(order, width)
    for _ in range(_MOST_TIMES + len(published.cells)):
        before = found.hidden
        for name in narrow(found, order, width):
            found = found.hiding([*found.hidden, *_moving(free, found, name, demand[name], by_size=by_size)])
        found = _joined(found, minimum)
        open_ = narrow(found, order, width)
        if not open_ and found.hidden == before:
            return found
        if found.hidden == before:  # whole numbers are narrower than the program: ask it for more room
            demand |= {name: demand[name] + 1.0 for name in open_}
    named = open_[0] if open_ else order[0]
    raise DisclosureError(f"{named} could be worked out, whatever else is hidden", where="small groups")


def _moving(free: Published, found: Published, name: str, room: float, *, by_size: bool) -> list[str]:
    """Cells that must be hidden for one to move by ``room``: those that move along at the least cost."""
    of = system(free)
    n, place = len(of.names), of.names.index(name)
    value = free.cells["value"].to_numpy(dtype=np.float64)
    hidden = found.cells["hidden"].to_numpy(dtype=bool)
    scale = 1.0 + _BY_SIZE * value / max(value.max(), 1.0) if by_size else np.ones(n)
    cost = np.where(hidden, 0.0, scale)
    # unknowns: rise and fall of each cell in the world above, then in the world below
    moves = np.hstack([np.eye(n), -np.eye(n)])
    at = np.asarray(of.matrix @ value)
    lines = csr_array(of.matrix @ moves)
    both = block_array([[lines, None], [None, lines]], format="csr")
    within = LinearConstraint(both, np.tile(of.low - at, 2), np.tile(of.high - at, 2))
    apart = np.zeros(4 * n)
    apart[[place, n + place, 2 * n + place, 3 * n + place]] = (1, -1, -1, 1)
    up, down = of.most - value, value - of.least
    limits = Bounds(np.zeros(4 * n), np.maximum(np.concatenate([up, down, up, down]), 0.0))
    solved = milp(
        np.tile(cost, 4), bounds=limits, constraints=[within, LinearConstraint(apart, room, np.inf)]
    )
    if solved.x is None:
        raise DisclosureError(
            f"{name} could be worked out, whatever else is hidden",
            where="small groups",
            remedy="Publish fewer tables about this group, or join it with another one.",
        )
    moved = solved.x.reshape(4, n).max(axis=0) > _MOVED
    return [free_name for free_name, yes in zip(of.names, moved & ~hidden, strict=True) if yes]


def _joined(published: Published, minimum: float) -> Published:
    """Hide the next smallest part of a line whose hidden parts are too few together, else its total."""
    size = published.values()
    while few := exposed(published, minimum):
        hidden = set(published.hidden)
        line = next(line for line in published.sums if set(few[0]) == hidden & set(line.parts))
        left = [part for part in line.parts if part not in hidden and size[part] > 0]
        more = min(left, key=lambda part: size[part]) if left else line.total
        published = published.hiding([*hidden, more])
    return published


def _pruned(found: Published, need: Sequence[str], width: float, minimum: float) -> Published:
    """Show again, the largest first, what need not be hidden."""
    size = found.values()
    extra = sorted(set(found.hidden) - set(need), key=lambda name: (-size[name], name))
    for name in extra:
        fewer = found.hiding([other for other in found.hidden if other != name])
        if not exposed(fewer, minimum) and not narrow(fewer, need, width):
            found = fewer
    return found


def fewest_partners(published: Published, protected: Sequence[str], *, width: float) -> Published:
    """Hide the fewest cells that protect all of them, by integer programming; for small tables.

    Notes
    -----
    The model of [fischetti_salazar_2001] with sliding protection written out: for each protected cell two
    worlds that agree with everything shown, and one yes or no a cell whether it is hidden. Its size grows
    with the square of the table; whole numbers are not asked for.

    Raises
    ------
    ArgumentError
        There is no such choice.
    """
    of = system(published.hiding(list(published.cells.index)))
    n, k = len(of.names), 2 * len(protected)
    value = published.cells["value"].to_numpy(dtype=np.float64)
    at = np.asarray(of.matrix @ value)
    reach = float(value.max()) + width
    up, down = np.minimum(of.most - value, reach), np.minimum(np.maximum(value - of.least, 0.0), reach)
    choice = csr_array((of.matrix.shape[0] * k, n))
    worlds = block_array([[of.matrix if i == j else None for j in range(k)] for i in range(k)]) if k else None
    if worlds is None:
        return published.hiding([])
    eye = eye_array(n * k)
    stack = csr_array(np.tile(np.eye(n), (k, 1)))
    apart = np.zeros((len(protected), n + n * k))
    for row, name in enumerate(protected):
        place = of.names.index(name)
        apart[row, [n + 2 * row * n + place, n + (2 * row + 1) * n + place]] = 1, -1
    upper, lower = stack.multiply(np.tile(up, k)[:, None]), stack.multiply(np.tile(down, k)[:, None])
    solved = milp(
        np.concatenate([np.ones(n), np.zeros(n * k)]),
        integrality=np.concatenate([np.ones(n), np.zeros(n * k)]),
        bounds=Bounds(
            np.concatenate([np.isin(of.names, list(protected)).astype(float), np.full(n * k, -np.inf)]),
            np.concatenate([np.ones(n), np.full(n * k, np.inf)]),
        ),
        constraints=[
            LinearConstraint(
                block_array([[choice, worlds]]), np.tile(of.low - at, k), np.tile(of.high - at, k)
            ),
            LinearConstraint(block_array([[-upper, eye]]), -np.inf, 0.0),
            LinearConstraint(block_array([[lower, eye]]), 0.0, np.inf),
            LinearConstraint(apart, width, np.inf),
        ],
    )
    if solved.x is None:
        raise ArgumentError("no choice of cells protects all of them")
    return published.hiding([name for name, yes in zip(of.names, solved.x[:n] > 0.5, strict=True) if yes])
