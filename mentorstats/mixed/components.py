"""Variance components: estimates, shares, correlations, and their profile-likelihood intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from mentorstats.estimate import Status
from mentorstats.mixed.covariance import FLOOR, Triangles
from mentorstats.mixed.engines import laplace
from mentorstats.mixed.linear import FARTHEST, Problem
from mentorstats.mixed.model import RESIDUAL, Model
from mentorstats.mixed.optimise import Criterion
from mentorstats.mixed.ordinal import OrdinalProblem
from mentorstats.mixed.profile import Held, Lift, limits

Floats = NDArray[np.float64]

FEW = 5  # members, and median ratings a member
METHOD, ADJUSTED = "profile_likelihood", "adjusted_profile_likelihood"
_MANY = 100  # members from which on the fixed parameters of an ordinal model cost nothing worth counting


def table(model: Model, confidence: float, *, intervals: bool = True) -> pd.DataFrame:
    """One row a component, the residual last; see ``Fit.components``."""
    rows = [_row(model, confidence, t, b, intervals) for t, b in _places(model)]
    if model.engine is None and model.verdict:
        whole_status = {"status": model.verdict.status.value, "status_note": model.verdict.note}
        rows = [
            {"component": name, "n_members": members.m} | whole_status
            for members in model.layout.members
            if members.name not in model.screening.groupings
            for name in members.coefficients
        ]
    if not model.ordinal or model.engine is None:
        rows.append(_residual_row(model, confidence, intervals))
    sizes = {members.name: members.m for members in model.layout.members}
    set_aside = [
        {
            "component": name,
            "n_members": sizes[name],
            "status": verdict.status.value,
            "status_note": verdict.note,
        }
        for name, verdict in model.screening.groupings.items()
    ]
    frame = pd.DataFrame([*rows, *set_aside], columns=_COLUMNS).set_index("component")
    frame["share"] = _shares(model, frame)
    whole = [RESIDUAL] if model.ordinal and model.engine is not None else []
    if whole:
        latent = {"variance": model.residual, "sd": model.residual**0.5, "share": 1 - frame["share"].sum()}
        frame.loc[RESIDUAL] = latent | {"status": Status.OK.value, "status_note": _FIXED}
    frame["n_members"] = frame["n_members"].astype("Int64")
    for name in ("interval_method", "status", "status_note"):
        frame[name] = (
            frame[name].astype("object").fillna("none" if name == "interval_method" else "").astype("str")
        )
    return frame


_FIXED = "Set by the scale of the latent variable, not estimated."
_COLUMNS = [
    "component",
    "variance",
    "sd",
    "share",
    "low",
    "high",
    "confidence",
    "interval_method",
    "n_members",
    "median_ratings",
    "status",
    "status_note",
]


def _places(model: Model) -> list[tuple[int, int]]:
    return [(t, b) for t, members in enumerate(model.members) for b in range(members.k)]


def _row(model: Model, confidence: float, t: int, b: int, intervals: bool) -> dict[str, object]:
    members = model.members[t]
    row: dict[str, object] = {"component": component_name(model, t, b), "n_members": members.m}
    row["median_ratings"] = float(np.median(model.ratings(t)))
    if model.verdict:
        return row | {"status": model.verdict.status.value, "status_note": model.verdict.note}
    variance = float(model.fitted.covariances()[t][b, b])
    status, note = _status(model, t, b, variance)
    row |= {"variance": variance, "sd": variance**0.5, "status": status.value, "status_note": note}
    if intervals:
        low, high = variance_limits(model, confidence, t, b)
        how = ADJUSTED if adjusted(model, t) else METHOD
        row |= {"low": low, "high": high, "confidence": confidence, "interval_method": how}
    return row


def component_name(model: Model, t: int, b: int) -> str:
    """Name of a component; groupings that divide the rows alike stand joined by +."""
    members, found = model.members[t], model.screening.groupings
    if members.name not in found:
        return members.coefficients[b]
    note = found[members.name].note
    alike = [name for name, verdict in found.items() if verdict.note == note]
    return " + ".join(alike) + members.coefficients[b].removeprefix(members.name)


def _status(model: Model, t: int, b: int, variance: float) -> tuple[Status, str]:
    members, name = model.members[t], component_name(model, t, b)
    if variance == 0.0:
        return (
            Status.BOUNDARY,
            f"The members of {name} differ no more than chance makes them; the estimate is exactly zero.",
        )
    if members.m < FEW:
        return Status.FEW_LEVELS, f"{members.m} members: a variance between them is known very poorly."
    median = float(np.median(model.ratings(t)))
    if model.ordinal and median < FEW and model.levels.points == 1:
        return (
            Status.LAPLACE_THIN,
            f"{median:g} ratings a member at the median: Laplace's approximation understates the variance. "
            "Use quadrature where it applies, and see the bias check.",
        )
    return Status.OK, ""


def _residual_row(model: Model, confidence: float, intervals: bool) -> dict[str, object]:
    row: dict[str, object] = {"component": RESIDUAL}
    if model.engine is None or model.verdict:
        verdict = model.verdict
        status, note = (verdict.status.value, verdict.note) if verdict else (Status.NOT_CONVERGED.value, "")
        return row | {"status": status, "status_note": note}
    row |= {"variance": model.residual, "sd": model.residual**0.5, "status": Status.OK.value}
    if intervals:
        low, high = residual_limits(model, confidence)
        row |= {"low": low, "high": high, "confidence": confidence, "interval_method": METHOD}
    return row


def parts(model: Model) -> Floats:
    """How much of each component's variance a rating carries on average, in the order of ``_places``.

    1 for what every rating has, the frequency of the role for effects within roles, 0 for slopes:
    shares are those at slopes' zero.
    """
    carried = []
    for t, members in enumerate(model.members):
        if members.roles:
            often = model.rows.weights if model.ordinal else None
            carried.append(np.average(model.rows.values[t], axis=0, weights=often))
        else:
            carried.append(np.array([1.0] + [0.0] * (members.k - 1)))
    return np.concatenate(carried) if carried else np.zeros(0)


def _shares(model: Model, frame: pd.DataFrame) -> Floats:
    out = np.full(len(frame), np.nan)
    if model.engine is None or model.verdict:
        return out
    weights = parts(model)
    variances = frame["variance"].to_numpy(dtype=float)[: len(weights)] * weights
    total = variances.sum() + model.residual
    out[: len(weights)] = np.where(weights > 0, variances / total, np.nan)
    if not model.ordinal:
        out[len(weights)] = model.residual / total
    return out


# Profiles ------------------------------------------------------------------------------------------


def _turned(model: Model, t: int, order: list[int]) -> tuple[Problem | OrdinalProblem, Floats]:
    """The problem with the effects of one factor in another order, and Λ's entries there."""
    engine = model.fitted
    problem, triangles = engine.problem, engine.triangles
    theta = engine.theta
    if order == sorted(order) or not any(s == t and a != b for s, a, b in triangles.entries):
        return problem, theta
    factors = triangles.lifted(theta, problem.natural)
    covariance = (factors[t] @ factors[t].T)[np.ix_(order, order)]
    factors[t] = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    turned = triangles.pack(factors)
    if isinstance(problem, Problem):
        return replace(problem, products=problem.products.reordered(t, order)), turned
    values = list(problem.rows.values)
    values[t] = np.ascontiguousarray(values[t][:, order])
    again = OrdinalProblem(
        replace(problem.rows, values=tuple(values)),
        problem.cut,
        problem.link,
        triangles,
        problem.blocks,
        problem.meetings,
    )
    return again, turned


def _entry(triangles: Triangles, t: int, a: int, b: int) -> int:
    return triangles.entries.index((t, a, b))


class Space:
    """Parameters of a profile: Λ's entries and then, linear, log σ or, ordinal, everything fixed."""

    def __init__(self, model: Model, t: int | None, order: list[int]) -> None:
        self.model = model
        engine = model.fitted
        if t is None:
            self.problem, theta = engine.problem, engine.theta
        else:
            self.problem, theta = _turned(model, t, order)
        self.triangles = engine.triangles
        self.theta = theta
        self.recentre: Callable[[Floats], None] | None = None
        if isinstance(self.problem, Problem):
            solution = model.linear.solution
            sigma = np.sqrt(solution.residual / self.problem.freedom)
            self.sigma = float(sigma)
            self.x = np.append(theta, np.log(sigma))
            self.criterion: Criterion = self.problem.absolute
            diagonal = self.triangles.diagonal
            floor = np.where(diagonal, FLOOR * self.problem.natural, -np.inf)
            self.lower = np.append(floor, -np.inf)
            self.best = solution.criterion
            self.hessian = np.eye(len(self.x))
        else:
            engine_o = model.levels
            self.sigma = 1.0
            self.x = np.concatenate([theta, engine_o.state.psi[self.problem.q :]])
            same = self.problem is engine_o.problem
            self.criterion = engine_o.criterion if same else laplace(self.problem)
            if engine_o.moving is not None:
                self.criterion, self.recentre = engine_o.moving
            self.lower = self.problem.lower
            self.best = engine_o.value
            self.hessian = engine_o.state.hessian
        self.x = np.maximum(self.x, self.lower)
        self.adjust = _lost_freedom(self.problem) if t is not None and adjusted(model, t) else None

    def hold(self, lift: Lift, free: NDArray[np.intp], carrier: int) -> Held:
        """Hold a quantity, the parameters ``free`` staying free."""
        return Held(
            self.criterion,
            lift,
            self.x[free],
            self.lower[free],
            carrier,
            self.hessian,
            self.adjust,
            self.recentre,
        )

    def without(self, *indices: int) -> NDArray[np.intp]:
        """All parameters but these."""
        return np.setdiff1d(np.arange(len(self.x)), indices)


def adjusted(model: Model, t: int) -> bool:
    """Whether profiles of a factor's variances allow for the fixed parameters being estimated.

    Restricted likelihood does so by itself; for ordinal models with few members it matters as well.
    """
    return model.ordinal and model.members[t].m < _MANY


def _lost_freedom(problem: Problem | OrdinalProblem) -> Callable[[Floats], float] | None:
    if isinstance(problem, Problem):
        return None

    def adjust(x: Floats) -> float:
        state = problem.evaluate(x)
        return np.inf if state is None else float(np.linalg.slogdet(state.conditional)[1])

    return adjust


def variance_limits(model: Model, confidence: float, t: int, b: int) -> tuple[float, float]:
    """Profile limits of one variance, in the units of the data."""
    space, first, unit = variance_space(model, t, b)
    at, step = _begin(model, space, first, t, b)
    low, high = limits(
        hold_sd(space, first, not model.ordinal),
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=at,
        step=step,
        edges=(0.0, np.inf),
        to_value=_exp,
    )
    return (low * unit) ** 2, (high * unit) ** 2


def variance_drop(model: Model, t: int, b: int, variance: float) -> float:
    """How much worse minus twice the (adjusted) log-likelihood is with one variance held at a value."""
    space, first, unit = variance_space(model, t, b)
    held = hold_sd(space, first, not model.ordinal)
    at, step = _begin(model, space, first, t, b)
    best, _ = held.peak(space.best, at, step, 0.0, _exp)
    return held.best(variance**0.5 / unit, held.start)[0] - best


def _begin(model: Model, space: Space, first: int, t: int, b: int) -> tuple[float, float]:
    """Log of the standard deviation and about its standard error; near its natural size for a zero."""
    natural = float(space.problem.natural[first]) * space.sigma
    sd = max(float(space.x[first]) * space.sigma, 0.05 * natural)
    at_zero = float(model.fitted.covariances()[t][b, b]) == 0.0
    step = float(np.clip(np.sqrt(0.5 / max(model.members[t].m - 1, 1)), 0.05, 0.7))
    return float(np.log(natural if at_zero else sd)), step


def variance_space(model: Model, t: int, b: int) -> tuple[Space, int, float]:
    """Parameters with the variance's effect first, its entry of Λ, and the unit of its sd."""
    members = model.members[t]
    correlated = members.grouping.correlated and members.k > 1
    order = [b, *(j for j in range(members.k) if j != b)] if correlated else list(range(members.k))
    space = Space(model, t, order)
    first = _entry(space.triangles, t, *((0, 0) if correlated else (b, b)))
    return space, first, (1.0 if model.ordinal else model.linear.scale) / float(members.scales[b])


def _exp(at: float) -> float:
    """Exponential with its edges, 0 and infinity."""
    return float(np.exp(min(at, 300.0))) if np.isfinite(at) else (np.inf if at > 0 else 0.0)


def hold_sd(space: Space, first: int, linear: bool) -> Held:
    """Hold Λ's entry times σ."""
    floor = float(space.lower[first])
    free = space.without(first)
    size = len(space.x)

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats] | None:
        x = np.empty(size)
        x[free] = y
        if linear and abs(x[-1]) > FARTHEST:
            return None
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        bend = np.zeros((len(free), len(free)))
        x[first] = value / np.exp(x[-1]) if linear else value
        if x[first] <= floor:
            x[first] = floor
        elif linear:
            jacobian[first, -1] = -x[first]
            bend[-1, -1] = x[first]
        return x, jacobian, bend

    return space.hold(lift, free, first)


def residual_limits(model: Model, confidence: float) -> tuple[float, float]:
    """Profile limits of the residual variance of a linear model."""
    space = Space(model, None, [])
    last = len(space.x) - 1
    held = _hold_one(space, last)
    low, high = limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(space.x[-1]),
        step=float(np.sqrt(1 / (2 * max(model.linear.problem.freedom, 2)))),
    )
    unit = model.linear.scale
    return (np.exp(low) * unit) ** 2, (np.exp(high) * unit) ** 2


def residual_drop(model: Model, variance: float) -> float:
    """The same as ``variance_drop`` for the residual variance of a linear model."""
    space = Space(model, None, [])
    held = _hold_one(space, len(space.x) - 1)
    return held.best(0.5 * np.log(variance) - np.log(model.linear.scale), held.start)[0] - space.best


def _hold_one(space: Space, index: int) -> Held:
    free = space.without(index)
    size = len(space.x)
    jacobian = np.zeros((size, len(free)))
    jacobian[free, np.arange(len(free))] = 1.0
    bend = np.zeros((len(free), len(free)))

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats]:
        x = np.empty(size)
        x[free], x[index] = y, value
        return x, jacobian, bend

    return space.hold(lift, free, index)


def coefficient_limits(model: Model, confidence: float, index: int, se: float) -> tuple[float, float]:
    """Profile limits of one fixed parameter of an ordinal model, counted from the first cut-point."""
    space = Space(model, None, [])
    at = model.levels.problem.q + index
    held = _hold_one(space, at)
    return limits(held, space.best, float(norm.ppf(0.5 + confidence / 2)), at=float(space.x[at]), step=se)


def share_table(model: Model, confidence: float) -> pd.DataFrame:
    """Shares with profile limits; see ``Fit.shares``."""
    frame = table(model, confidence, intervals=False)
    rows = []
    weights = parts(model)
    for at, (t, b) in enumerate(_places(model)):
        name = component_name(model, t, b)
        if weights[at] == 0:
            continue
        share = float(frame["share"].to_numpy(dtype=float)[at])
        how = ADJUSTED if adjusted(model, t) else METHOD
        rows.append((name, share, *_share_limits(model, confidence, t, b, share), confidence, how))
    columns = ["component", "share", "low", "high", "confidence", "interval_method"]
    return pd.DataFrame(rows, columns=columns).set_index("component")


def _share_limits(model: Model, confidence: float, t: int, b: int, share: float) -> tuple[float, float]:
    members = model.members[t]
    correlated = members.grouping.correlated and members.k > 1
    order = [b, *(j for j in range(members.k) if j != b)] if correlated else list(range(members.k))
    space = Space(model, t, order)
    first = _entry(space.triangles, t, *((0, 0) if correlated else (b, b)))
    weights = _entry_weights(model, space.triangles, t, order)
    spread = 1.0 if not model.ordinal else model.residual
    held = _hold_share(space, first, weights, spread)
    inside = min(max(share, 1e-4), 1 - 1e-6)
    step = np.sqrt(2 / max(members.m - 1, 1)) * (1 - inside) + 0.02
    return limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(np.log(inside / (1 - inside))),
        step=float(np.clip(step, 0.05, 1.2)),
        edges=(0.0, np.inf),
        to_value=_expit,
    )


def _expit(at: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(at, -500, 500))))


def _entry_weights(model: Model, triangles: Triangles, turned: int, order: list[int]) -> Floats:
    """Average share of each squared entry of Λ in a rating's variance."""
    all_parts = parts(model)
    by_place = {place: all_parts[at] for at, place in enumerate(_places(model))}
    weights = []
    for t, a, _ in triangles.entries:
        effect = order[a] if t == turned else a
        scale = float(model.members[t].scales[effect])
        weights.append(by_place[t, effect] / scale**2)
    return np.array(weights)


def _hold_share(space: Space, first: int, weights: Floats, spread: float) -> Held:
    """Hold the share of one entry of Λ: its square is odds × (what the rest makes up)."""
    free = space.without(first)
    size, q = len(space.x), len(weights)
    others = np.flatnonzero(free < q)

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats] | None:
        if value >= 1:
            return None
        x = np.empty(size)
        x[free] = y
        odds = value / (1 - value)
        theta, own = y[others], weights[free[others]]
        square = odds / weights[first] * (spread + (own * theta**2).sum())
        x[first] = max(np.sqrt(square), space.lower[first])
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        if x[first] > space.lower[first]:
            jacobian[first, others] = odds / weights[first] * own * theta / x[first]
        return x, jacobian, np.zeros((len(free), len(free)))

    return space.hold(lift, free, first)


def correlation_table(model: Model, confidence: float) -> pd.DataFrame:
    """Correlations between the effects of one member; see ``Fit.correlations``."""
    rows = []
    for t, members in enumerate(model.members):
        if not members.grouping.correlated or model.engine is None or model.verdict:
            continue
        covariance = model.fitted.covariances()[t]
        for a in range(members.k):
            for b in range(a):
                rows.append(_correlation_row(model, confidence, t, a, b, covariance))
    numbers, text = ["correlation", "low", "high", "confidence"], ["interval_method", "status", "status_note"]
    frame = pd.DataFrame(rows, columns=["component", *numbers, *text])
    types = dict.fromkeys(numbers, "float64") | dict.fromkeys(["component", *text], "str")
    return frame.astype(types).set_index("component")


def _correlation_row(
    model: Model, confidence: float, t: int, a: int, b: int, covariance: Floats
) -> dict[str, object]:
    members = model.members[t]
    names = members.coefficients
    row: dict[str, object] = {"component": f"{names[b]} with {names[a]}"}
    variances = covariance[a, a] * covariance[b, b]
    if variances <= 0:
        note = "One of the two variances is zero, so there is nothing to correlate."
        return row | {"interval_method": "none", "status": Status.NOT_IDENTIFIED.value, "status_note": note}
    if not _together(model, t, a, b):
        note = f"No member of {members.name} has both effects, so nothing tells how they go together."
        return row | {"interval_method": "none", "status": Status.NOT_IDENTIFIED.value, "status_note": note}
    value = float(np.clip(covariance[a, b] / np.sqrt(variances), -1, 1))
    at_edge = abs(value) > 1 - 1e-6
    low, high = _correlation_limits(model, confidence, t, a, b, value)
    note = "The two effects go together without exception; the estimate is at its edge." if at_edge else ""
    status = Status.BOUNDARY if at_edge else Status.OK
    return row | {
        "correlation": value,
        "low": low,
        "high": high,
        "confidence": confidence,
        "interval_method": METHOD,
        "status": status.value,
        "status_note": note,
    }


def _together(model: Model, t: int, a: int, b: int) -> bool:
    """Whether some member has rows in both of two roles; slopes share their rows with the rest."""
    members = model.members[t]
    if not members.roles:
        return True
    codes, values = model.rows.codes[t], model.rows.values[t]
    first, second = (np.bincount(codes, values[:, at] != 0, minlength=members.m) for at in (a, b))
    return bool(((first > 0) & (second > 0)).any())


def _correlation_limits(
    model: Model, confidence: float, t: int, a: int, b: int, value: float
) -> tuple[float, float]:
    members = model.members[t]
    order = [b, a, *(j for j in range(members.k) if j not in (a, b))]
    space = Space(model, t, order)
    low_entry, high_entry = _entry(space.triangles, t, 1, 0), _entry(space.triangles, t, 1, 1)
    held = _hold_correlation(space, low_entry, high_entry)
    inside = float(np.clip(value, -0.995, 0.995))
    return limits(
        held,
        space.best,
        float(norm.ppf(0.5 + confidence / 2)),
        at=float(np.arctanh(inside)),
        step=float(np.clip(1 / np.sqrt(max(members.m - 3, 1)), 0.05, 0.7)),
        edges=(-1.0, 1.0),
        to_value=_tanh,
    )


def _tanh(at: float) -> float:
    return float(np.tanh(at))


def _hold_correlation(space: Space, below: int, diagonal: int) -> Held:
    """Row (ρ r, √(1 − ρ²) r) of Λ, free in r, which takes the diagonal's place."""
    free = space.without(below)
    size = len(space.x)
    place = int(np.flatnonzero(free == diagonal)[0])
    start = space.x[free].copy()
    start[place] = np.hypot(space.x[below], space.x[diagonal])

    def lift(y: Floats, value: float) -> tuple[Floats, Floats, Floats]:
        x = np.empty(size)
        x[free] = y
        root = np.sqrt(max(1 - value**2, 0.0))
        x[below], x[diagonal] = value * y[place], root * y[place]
        jacobian = np.zeros((size, len(free)))
        jacobian[free, np.arange(len(free))] = 1.0
        jacobian[below, place], jacobian[diagonal, place] = value, root
        return x, jacobian, np.zeros((len(free), len(free)))

    return replace(space.hold(lift, free, below), start=start, adjust=None)
