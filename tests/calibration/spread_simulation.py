"""Blameless and peculiar raters with known truth: how often they are told apart, by draws of a programme.

``python tests/calibration/spread_simulation.py`` writes spread_false_alarms.csv beside it.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from crossed import named

from mentorstats.calibration import base_fit
from mentorstats.calibration.base.simulated import redraws
from mentorstats.calibration.forms.halo import halo
from mentorstats.calibration.raters.level_use import level_use
from mentorstats.calibration.raters.rating_fit import rating_fit
from mentorstats.calibration.raters.spread import central_tendency, range_restriction

TABLE = Path(__file__).with_name("spread_false_alarms.csv")
PROGRAMMES = 120
CUTS = np.array([-2.2, 0.0, 2.2])


def programme(
    seed, *, candidates=60, raters=12, criteria=5, lessons=3, toward=None, shift=None, halo_of=None
):
    """Draw ratings of candidates by two raters each; peculiar raters by number.

    Parameters
    ----------
    toward
        Rater to (place, factor): everything they see is drawn to the place by the factor.
    shift
        Rater to severity, in place of a drawn one.
    halo_of
        Rater to the correlation of residuals within a form.
    """
    rng = np.random.default_rng(seed)
    ability, severity = rng.normal(0, 1.3, candidates), rng.normal(0, 0.7, raters)
    own = rng.normal(0, 0.5, (raters, criteria))
    for rater, size in (shift or {}).items():
        severity[rater] = size
    rows = []
    for c in range(candidates):
        for lesson in range(lessons):
            good = ability[c] + rng.normal(0, 0.7)
            for rater in (c % raters, (c + 1 + c // raters) % raters):
                common = (halo_of or {}).get(rater, 0.0)
                normal = np.sqrt(common) * rng.normal() + np.sqrt(1 - common) * rng.normal(size=criteria)
                seen = good + own[rater] + 0.3 * np.arange(criteria) - 0.6 + 1.7 * normal
                place, factor = (toward or {}).get(rater, (0.0, 1.0))
                judged = place + factor * (seen - place) + severity[rater]
                for criterion in range(criteria):
                    rank = 1 + int(np.searchsorted(CUTS, judged[criterion]))
                    rows.append((c, lesson, rater, criterion, rank))
    return named(rows)


def outside(table, name, expected):
    """Whether a value lies beyond its simulated limits."""
    return (table[name] < table[expected + "_low"]) | (table[name] > table[expected + "_high"])


def alarms(seed, draws=200):
    """P-values below .05 and values outside limits, of raters of a programme without peculiarities."""
    base = base_fit(programme(seed))
    drawn = redraws(base, draws=draws, seed=seed)
    central, restricted = central_tendency(base, drawn), range_restriction(base, drawn)
    close = halo(base, drawn)
    fits = {kind: rating_fit(base, drawn, kind=kind) for kind in ("information", "response")}
    use = level_use(base, drawn)
    found = {
        "central tendency, p": central["p"] < 0.05,
        "central tendency, interval of the shrunken effect": (central["low"] > 0) | (central["high"] < 0),
        "share of middle levels, limits": outside(central, "share_middle", "share_middle_expected"),
        "range restriction, p": restricted["p"] < 0.05,
        "range restriction, limits": outside(restricted, "sd", "sd_expected"),
        "halo, p": close["p"] < 0.05,
        "halo, correlation form, limits": outside(close, "correlation", "correlation_expected"),
        "halo, spread form, limits": outside(close, "criterion_sd", "criterion_sd_expected"),
        "halo, residual correlation, interval": (close["residual_correlation_low"] > 0)
        | (close["residual_correlation_high"] < 0),
        "use of a level, limits": outside(use, "observed_share", "expected_share"),
    }
    for kind, fit in fits.items():
        found[f"fit by {kind}, p"] = fit["p"] < 0.05
        found[f"fit by {kind}, limits"] = outside(fit, "fit", "fit_expected")
        found[f"fit by {kind}, p below .01"] = fit["p"] < 0.01
        found[f"fit by {kind}, limits of draws at the shrunken effects"] = _naive(base, fit, kind, seed)
    return {name: (int(hit.sum()), len(hit)) for name, hit in found.items()}


def _naive(base, fit, kind, seed, draws=200):
    """Whether fits lie outside limits from levels drawn at the shrunken effects, without predicting again."""
    rng = np.random.default_rng([seed, 1])
    own = base.by_rater()
    below = base.shares.cumsum(axis=1)[:, :-1]
    squares = []
    for _ in range(draws):
        rank = 1 + (rng.random(len(below))[:, None] > below).sum(axis=1)
        squared = (rank - base.expected) ** 2
        if kind == "information":
            squares.append((own.T @ squared) / (own.T @ base.variance))
        else:
            squares.append((own.T @ (squared / base.variance)) / np.asarray(own.sum(axis=0)).ravel())
    low, high = np.quantile(squares, [0.025, 0.975], axis=0)
    return (fit["fit"] < low) | (fit["fit"] > high)


def rates(seeds):
    """Share of blameless raters (of level use: raters by levels) alarmed by each rule."""
    counted = pd.DataFrame([alarms(seed) for seed in seeds])
    hits = counted.map(lambda pair: pair[0]).sum()
    n = counted.map(lambda pair: pair[1]).sum()
    return pd.DataFrame({"rule": hits.index, "alarmed": hits.to_numpy(), "raters": n.to_numpy()})


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else PROGRAMMES
    table = rates(range(many))
    table["first_programme"] = rates(range(1))["alarmed"]
    table["rate"] = (table["alarmed"] / table["raters"]).round(4)
    table.to_csv(TABLE, index=False)
    sys.stdout.write(table.to_string() + "\n")
