"""What do rules of certification do to raters of known accuracy, and to blind ones?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats.agreement.coefficients.members import Asked
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError
from mentorstats.key_scores import verdicts
from mentorstats.key_scores.accuracy import Scored
from mentorstats.key_scores.verdicts import Rules, Verdict

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

_SUMS_TO_ONE = 1e-6
_MOST_RATINGS = 1_000_000


@entry()
def operating_characteristic(
    rules: Rules,
    n_recordings: int,
    n_criteria: int,
    *,
    key_shares: Sequence[float] | npt.NDArray[np.floating],
    exact: Sequence[float] = (0.6, 0.7, 0.8, 0.9),
    correlation: float = 0.0,
    replicates: int = 1000,
    confidence: float = 0.95,
    seed: int = 0,
) -> pd.DataFrame:
    """Simulate how often the rules pass raters of known accuracy, and a blind one.

    Parameters
    ----------
    rules
        As in `certify`.
    n_recordings, n_criteria
        Size of the exercise; every criterion of every recording is scored.
    key_shares : array (q,)
        Share of each level among the key levels, lowest first.
    exact
        True chances of an exact rating.
    correlation
        Intracluster correlation, within a recording, of being exact.
    replicates, seed
        Simulated raters of each kind, and the seed that makes them the same again.
    confidence
        Of the intervals by which verdicts are given, and of the one beside ``p_pass``.

    Returns
    -------
    DataFrame
        Indexed by rater (``60 % exact``, …, ``blind``): ``exact`` (true chance), p_pass with low and high
        (Clopper–Pearson, for the number of simulated raters), p_fail, p_too_few, n (simulated raters),
        confidence, interval_method.

    Notes
    -----
    Key levels are drawn independently. A rating that is not exact is one level off, up or down as likely
    where both exist. A blind rater draws levels from the key's own shares without seeing anything.
    """
    held = verdicts.resolved(rules)
    if not set(held) - {"recordings"}:
        raise ArgumentError("no rule of certification has a value", remedy="Set one in policy.toml.")
    pi = np.asarray(key_shares, dtype=float)
    if pi.ndim != 1 or len(pi) < 2 or (pi < 0).any() or not abs(pi.sum() - 1) <= _SUMS_TO_ONE:
        raise ArgumentError("key_shares are no shares", allowed="two shares or more that add up to 1")
    if n_recordings < 1 or n_criteria < 1 or n_recordings * n_criteria > _MOST_RATINGS:
        raise ArgumentError(
            f"{n_recordings} recordings, {n_criteria} criteria",
            allowed=f"1 or more, up to {_MOST_RATINGS} ratings of one rater",
        )
    if not all(0 <= share <= 1 for share in (*exact, correlation)) or correlation == 1:
        raise ArgumentError("exact and correlation are no fractions", allowed="0 to 1, correlation below 1")
    asked = Asked(tuple(range(1, len(pi) + 1)), "quadratic", "auto", 2000, confidence, 0)
    kinds: list[tuple[str, float | None]] = [(f"{100 * share:g} % exact", share) for share in exact]
    kinds.append(("blind", None))
    shape = (n_recordings, n_criteria)
    rows = []
    for number, (_, share) in enumerate(kinds):
        rng = np.random.default_rng([seed, number])
        drawn = (_drawn(shape, pi, share, correlation, rng) for _ in range(replicates))
        counted = pd.Series([str(verdicts.judge(one, held, asked).verdict) for one in drawn]).value_counts()
        true = float(pi @ pi) if share is None else share
        rows.append(_row(true, {str(name): int(n) for name, n in counted.items()}, replicates, confidence))
    return pd.DataFrame(rows, index=pd.Index([name for name, _ in kinds], name="rater", dtype="str"))


def _drawn(
    shape: tuple[int, int], pi: Array, exact: float | None, correlation: float, rng: np.random.Generator
) -> Scored:
    """Draw one rater's levels of one set of recordings."""
    q = len(pi)
    key = rng.choice(q, size=shape, p=pi / pi.sum())
    level = rng.choice(q, size=shape, p=pi / pi.sum()) if exact is None else key
    if exact is not None:
        chance: Array = np.full((shape[0], 1), exact)
        if correlation and 0 < exact < 1:
            size = 1 / correlation - 1
            chance = rng.beta(exact * size, (1 - exact) * size, (shape[0], 1))
        level = key + np.where(rng.random(shape) < chance, 0, _step(key, q, rng))
    recording, criterion = np.indices(shape)
    return Scored(level.ravel(), key.ravel(), recording.ravel(), criterion.ravel())


def _step(key: Codes, q: int, rng: np.random.Generator) -> Codes:
    """One level up or down, whichever exists."""
    step = rng.choice([-1, 1], size=key.shape)
    kept: Codes = np.where(key + step < 0, 1, np.where(key + step >= q, -1, step))
    return kept


def _row(exact: float, counted: dict[str, int], n: int, confidence: float) -> dict[str, object]:
    passed = counted.get(Verdict.PASS, 0)
    tail = (1 - confidence) / 2
    return {
        "exact": exact,
        "p_pass": passed / n,
        "low": float(stats.beta.ppf(tail, passed, n - passed + 1)) if passed else 0.0,
        "high": float(stats.beta.ppf(1 - tail, passed + 1, n - passed)) if passed < n else 1.0,
        "p_fail": counted.get(Verdict.FAIL, 0) / n,
        "p_too_few": (counted.get(Verdict.TOO_FEW, 0) + counted.get(Verdict.UNDECIDED, 0)) / n,
        "n": n,
        "confidence": confidence,
        "interval_method": "clopper_pearson",
    }
