"""The base fit with candidates free: each one's place a parameter of its own, not drawn from a spread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from mentorstats.calibration.base.base import Base
from mentorstats.errors import ModelError
from mentorstats.mixed.algebra.covariance import scaled_inverse
from mentorstats.mixed.engines.joint import Joint

Floats = NDArray[np.float64]

FREE_SD = 1e3  # logits: beyond it a candidate's prior says nothing beside one rating


def freed(base: Base) -> Joint:
    """All effects and the covariance of their errors when nothing is assumed of the candidates' middle.

    The quadratic that the base fit stands on is kept: its weights, and each rating's slope. Only the
    spread of the candidates' effects is let go, so that one linear system gives the modes, and fixed
    parameters move with them [henderson_1975]. Candidates' changes a week keep their spread. For that
    quadratic the result is exact: the within-candidate estimates of a mixed model with all other
    effects random.

    Returns
    -------
    Joint
        Effects ``b`` in the order of ``base.joint.b``; candidates and what only they tell apart (cohorts)
        have next to no information left, raters what is left of theirs.
    """
    problem, state = base.model.levels.problem, base.model.levels.state
    triangles, t = base.model.levels.triangles, candidate_grouping(base)
    if state.factor is None:
        raise ModelError("the fit holds no random effects", remedy="Look at fit.notes.")
    factors = [factor.copy() for factor in state.factors]
    factors[t][0, 0] = FREE_SD
    factor = problem.factorise(problem.products(base.information), factors)

    toward = base.at.fixed_information(base.random_columns)
    before = state.factor.half(triangles.spread(state.factors, toward, transposed=True))
    across = triangles.spread(factors, toward, transposed=True)
    half = factor.half(across)
    conditional = state.conditional + before.T @ before - half.T @ half
    covariance, lifted = scaled_inverse(conditional), factor.back(half)

    pull = np.zeros((triangles.n, 1))
    m, k = triangles.sizes[t]
    own = slice(triangles.parts()[t].start, triangles.parts()[t].start + m * k, k)
    pull[own, 0] = base.joint.b[own] * (state.factors[t][0, 0] ** -2 - FREE_SD**-2)
    pull = triangles.spread(factors, pull, transposed=True)
    fixed = -covariance @ (across.T @ factor.solve(pull))
    moved = factor.solve(pull) - lifted @ fixed
    b = base.joint.b + triangles.spread(factors, moved, transposed=False)[:, 0]
    return replace(
        base.joint,
        factors=factors,
        factor=factor,
        lifted=lifted,
        beta=base.joint.beta + fixed[:, 0],
        covariance=covariance,
        b=b,
    )


def candidate_grouping(base: Base) -> int:
    """Which of the model's groupings is that of candidates."""
    names = [members.name for members in base.model.members]
    if "candidate" not in names:
        raise ModelError("the fit holds no candidates", remedy=base.status_note or "Look at fit.notes.")
    return names.index("candidate")
