"""What does a coefficient mean in words, and is it a low kappa where nearly everything agrees?

Words come from scales with an author, and are read off the interval. Which of them is supported is
a probability, by benchmarking. A high percent with a low kappa is laid open: how unevenly the levels
are used, how far the raters' use of them differs, and what blind raters would reach.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from mentorstats import policy
from mentorstats.agreement.coefficients.coefficients import coefficients
from mentorstats.agreement.counts import coding
from mentorstats.agreement.counts.coding import Columns
from mentorstats.declared.bands import Scale
from mentorstats.declared.bands import scale as scale_of
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.policy import Policy
from mentorstats.tables import numbers

HIGH_AGREEMENT = "paradox_agreement"
LOW_KAPPA = "paradox_kappa"

_LOWEST, _HIGHEST = -1.0, 1.0  # range of a coefficient beyond chance
_SHARES = ("percent_agreement", "percent_adjacent", "prevalence_index", "bias_index")


@entry(keep_index=True)
def read_against(
    found: pd.DataFrame | float,
    scale: str | Scale,
    *,
    low: float = math.nan,
    high: float = math.nan,
    probability: float = 0.95,
) -> pd.DataFrame:
    """Read values and their intervals against one author's bands.

    Parameters
    ----------
    found
        A table of `coefficients` (value, se, low, high), or one value, whose bounds are then
        ``low`` and ``high``.
    scale
        Name of a scale in data_dictionary/bands/, or a `Scale` of one's own.
    probability
        With which ``band_assured`` is supported (`benchmark`); given where there is a standard error.

    Returns
    -------
    DataFrame
        With the index of ``found``: value, low, high, ``band`` (of the value), ``band_low`` and
        ``band_high`` (of the bounds: the interval touches these and all between), ``n_bands`` (how
        many it touches), ``band_assured``, scale, status_note, reference. Words are missing where there
        is no value, no interval, or a share or index that no scale was made for.

    Raises
    ------
    ArgumentError
        An unknown scale, or bounds that do not hold the value.
    """
    words = scale_of(scale) if isinstance(scale, str) else scale
    table = found if isinstance(found, pd.DataFrame) else _one(float(found), low, high)
    need_columns(table.columns, ("value", "low", "high"), where="found")
    names = [str(key[-1] if isinstance(key, tuple) else key) for key in table.index]
    errors = table["se"] if "se" in table.columns else pd.Series(math.nan, index=table.index)
    columns = [
        numbers(column, "found").to_numpy(dtype=float, na_value=math.nan)
        for column in (table["value"], errors, table["low"], table["high"])
    ]
    rows = [
        _row(name, value, se, lower, upper, words, probability)
        for name, value, se, lower, upper in zip(names, *columns, strict=True)
    ]
    read = pd.DataFrame(rows, index=table.index, columns=_READ)
    for column in ("band", "band_low", "band_high", "band_assured"):
        read[column] = read[column].astype("str")
    read["n_bands"] = read["n_bands"].astype("Int64")
    return read


_READ = [
    "value", "low", "high", "band", "band_low", "band_high", "n_bands", "band_assured", "scale",
    "status_note", "reference",
]  # fmt: skip


def _one(value: float, low: float, high: float) -> pd.DataFrame:
    if low > value or high < value or math.isnan(low) != math.isnan(high):
        raise ArgumentError(
            f"the interval {low} to {high} does not hold {value}", remedy="Give both bounds, or neither."
        )
    return pd.DataFrame({"value": [value], "low": [low], "high": [high]}, index=pd.Index(["value"]))


def _row(
    name: str, value: float, se: float, low: float, high: float, words: Scale, probability: float
) -> tuple[object, ...]:
    given = (value, low, high)
    rest = (words.author, *_remark(name, words), words.reference)
    if math.isnan(value) or name in _SHARES:
        return (*given, None, None, None, None, None, *rest)
    assured = words.labels[_assured(value, se, words, probability)] if se > 0 else None
    if math.isnan(low) or math.isnan(high):
        return (*given, words.label(value), None, None, None, assured, *rest)
    touched = words.place(high) - words.place(low) + 1
    return (*given, words.label(value), words.label(low), words.label(high), touched, assured, *rest)


def _remark(name: str, words: Scale) -> tuple[str]:
    if name in _SHARES:
        return ("A share or an index; no scale of words was made for it.",)
    if name == "value" or name in words.proposed_for:
        return ("",)
    return (f"{words.author} proposed these words for {', '.join(words.proposed_for)}.",)


@entry()
def benchmark(value: float, se: float, scale: str | Scale, *, probability: float = 0.95) -> pd.DataFrame:
    """Say which band is supported, allowing for the error of the estimate.

    Parameters
    ----------
    value, se
        Coefficient and its standard error.
    scale
        Name of a scale in data_dictionary/bands/, or a `Scale` of one's own.
    probability
        That the coefficient lies in the supported band or a higher one.

    Returns
    -------
    DataFrame
        Indexed by band, lowest first: edge_low, edge_high, ``probability`` of the band, ``p_at_least``
        (of it or a higher one), ``supported`` (the highest band whose ``p_at_least`` reaches
        ``probability``), scale, reference.

    Raises
    ------
    ArgumentError
        An unknown scale; a standard error that is not a positive number; a probability that is none.

    Notes
    -----
    The probability of the band from a to b is [Φ((c − a)/se) − Φ((c − b)/se)] / [Φ((c + 1)/se) −
    Φ((c − 1)/se)] for the value c, cumulated from the best band down [gwet_2014], chapter 6. The normal
    distribution stands on the coefficient's own scale, as in the source; intervals elsewhere in this
    package stand on Fisher's z.
    """
    words = scale_of(scale) if isinstance(scale, str) else scale
    if not (math.isfinite(value) and math.isfinite(se) and se > 0):
        raise ArgumentError(
            f"value {value} with standard error {se}",
            allowed="a value and a positive standard error",
            remedy="A coefficient without a standard error has no benchmark; give its status instead.",
        )
    if not 0 < probability < 1:
        raise ArgumentError(f"probability is {probability}", allowed="a fraction between 0 and 1")
    shares = _memberships(value, se, words)
    supported = _assured(value, se, words, probability)
    return pd.DataFrame(
        {
            "edge_low": words.edges[:-1],
            "edge_high": words.edges[1:],
            "probability": shares,
            "p_at_least": _at_least(shares),
            "supported": [place == supported for place in range(len(words.labels))],
            "scale": words.author,
            "reference": "gwet_2014",
        },
        index=pd.Index(words.labels, name="band", dtype="str"),
    )


def _memberships(value: float, se: float, words: Scale) -> npt.NDArray[np.float64]:
    """Probability of each band, lowest first."""
    above = stats.norm.cdf((value - np.array(words.edges)) / se)
    whole = stats.norm.cdf((value - _LOWEST) / se) - stats.norm.cdf((value - _HIGHEST) / se)
    if not whole > 0:
        raise ArgumentError(
            f"value {value} with standard error {se}", allowed="a coefficient between -1 and 1 and its error"
        )
    return np.asarray((above[:-1] - above[1:]) / whole)


def _assured(value: float, se: float, words: Scale, probability: float) -> int:
    """Position of the highest band for which it or a higher one has at least that probability."""
    reached = np.flatnonzero(_at_least(_memberships(value, se, words)) >= probability)
    return int(reached[-1]) if len(reached) else 0


def _at_least(shares: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Probability of each band or a higher one, summed from the highest down."""
    return np.cumsum(shares[::-1])[::-1]


@entry(named=True)
def paradox(
    ratings: pd.DataFrame,
    *,
    unit: Columns,
    rater: Columns,
    level: str,
    levels: Sequence[object] | None = None,
    cluster: Columns | None = None,
    rules: Policy | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Lay a high percent with a low kappa open.

    Parameters
    ----------
    ratings, unit, rater, level, levels, cluster, confidence
        As in `coefficients`.
    rules
        Policy with the rows ``paradox_agreement`` and ``paradox_kappa``; the shipped one unless given.

    Returns
    -------
    DataFrame
        Indexed by level: first ``all`` (the levels as they are), then, where there are more than two,
        each level against the others. Columns: ``p_observed`` (exact agreement), ``p_expected`` (what
        raters who saw nothing and kept their own use of the levels would reach), ``value`` (kappa,
        Cohen's for two raters and Conger's for more) with low, high, confidence and interval_method,
        ``prevalence_index`` and ``bias_index`` (two raters and two levels only; the level itself
        counts as positive, for ``all`` the lower one [byrt_1993]), ``pabak``, ``gwet_ac``, ``alarm``
        (high agreement by the one rule and low kappa by the other), n_units, n_clusters, status,
        status_note (in words) and reference.

    Notes
    -----
    For two raters and two levels, kappa = (PABAK − PI² + BI²) / (1 − PI² + BI²) [byrt_1993]: at one
    agreement, uneven use of the levels lowers kappa and different use by the raters raises it
    [feinstein_cicchetti_1990].
    """
    rows_in_use = rules if rules is not None else policy.read()
    need_columns(ratings.columns, [*coding.names(unit), *coding.names(rater), level], where="ratings")
    declared, codes = coding.code_levels(ratings[level], levels)
    kept: dict[str, Any] = {"unit": unit, "rater": rater, "cluster": cluster, "confidence": confidence}
    coded = ratings.assign(**{level: pd.Series(codes, index=ratings.index).where(codes >= 0)})
    rows = [_laid_open(coded, level, range(len(declared)), rows_in_use, kept)]
    if len(declared) > 2:
        for number in range(len(declared)):
            own = coded.assign(**{level: (coded[level] != number).where(coded[level].notna()).astype(float)})
            rows.append(_laid_open(own, level, range(2), rows_in_use, kept))
    names = ["all", *map(str, declared)][: len(rows)]
    return pd.DataFrame(rows, index=pd.Index(names, name="level", dtype="str"))


def _laid_open(
    ratings: pd.DataFrame, level: str, levels: Sequence[object], rules: Policy, kept: dict[str, Any]
) -> dict[str, object]:
    found = coefficients(ratings, level=level, levels=levels, **kept)
    name = "cohen_kappa" if "cohen_kappa" in found.index else "conger_kappa"
    row = found.to_dict(orient="index")[name]
    values = found["value"].to_dict()
    agreed, kappa = float(values["percent_agreement"]), float(row["value"])
    alarm = rules.rule(HIGH_AGREEMENT).met(agreed) and rules.rule(LOW_KAPPA).met(kappa)
    shown = ("value", "se", "low", "high", "confidence", "interval_method", "n_units", "n_clusters", "status")
    beside = {other: values.get(other, math.nan) for other in _BESIDE}
    words = _in_words(kappa, float(beside["prevalence_index"])) if alarm else ""
    return {
        "p_observed": agreed,
        "p_expected": row["p_expected"],
        **{column: row[column] for column in shown},
        **beside,
        "alarm": alarm,
        "status_note": " ".join(filter(None, [words, row["status_note"]])),
        "reference": row["reference"],
    }


_BESIDE = ("prevalence_index", "bias_index", "pabak", "gwet_ac")


def _in_words(kappa: float, prevalence: float) -> str:
    why = (
        "one of the two levels is used far more than the other"
        if abs(prevalence) >= abs(kappa)
        else "the levels are used unevenly"
    )
    return (
        f"High agreement with a low kappa: blind raters would agree nearly as often, because {why}. Print "
        "both, with what blind raters would reach and the coefficients beside them."
    )
