"""Numbers to text, in one place: decimals by unit, a true minus sign, never "nan"."""

from __future__ import annotations

import math
from dataclasses import dataclass

MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class Unit:
    """How a quantity is printed: factor, decimals, sign shown, and the words in a table heading."""

    heading: str
    decimals: int
    factor: float = 1.0
    signed: bool = False


UNITS = {
    "people": Unit("people", 0),
    "raters": Unit("people", 0),
    "raters_met": Unit("number", 0),
    "lessons": Unit("lessons", 0),
    "ratings": Unit("ratings", 0),
    "rows": Unit("rows", 0),
    "times": Unit("times", 0),
    "number": Unit("number", 0),
    "few": Unit("number", 1),
    "minutes": Unit("minutes", 0),
    "days": Unit("days", 0),
    "mean_square": Unit("", 2),
    "deviations": Unit("standard deviations", 2),
    "pairs": Unit("pairs", 0),
    "share": Unit("%", 0, factor=100),
    "coefficient": Unit("\N{MINUS SIGN}1 to 1", 2),
    "half_width": Unit("of kappa", 2),
    "zero_one": Unit("0 to 1", 2),
    "gain": Unit("0 to 1", 3, signed=True),
    "variance": Unit("levels squared", 3),
    "square": Unit("", 2),
    "ratio": Unit("", 2),
    "difference": Unit("", 2, signed=True),
    "levels": Unit("levels", 2, signed=True),
    "distance": Unit("levels", 2),
    "p_value": Unit("", 3),
    "times_more": Unit("times", 2),
    "points": Unit("% points", 0, factor=100, signed=True),
    "signed_deviations": Unit("standard deviations", 2, signed=True),
    "logits": Unit("logits", 2, signed=True),
    "logits_size": Unit("logits", 2),
    "plain": Unit("", 4),
}


def number(value: float, unit: str) -> str:
    """One number in the decimals of its unit.

    A share that is not zero or one is never printed as 0 or 100, nor a p-value as 0.
    """
    how = UNITS[unit]
    if math.isnan(value):
        return "no value"
    if unit == "plain":
        return f"{value + 0.0:g}".replace("-", MINUS)
    text = f"{value * how.factor:,.{how.decimals}f}"
    if unit == "share" and 0 < value < 1 and text in ("0", "100"):
        return "<1" if text == "0" else ">99"
    if unit == "p_value" and text == "0.000":
        return "<0.001"
    if float(text.replace(",", "")) == 0:
        return text.lstrip("-")
    sign = "+" if how.signed and value > 0 else ""
    return (sign + text).replace("-", MINUS)


def probability(p: float) -> str:
    """A p-value for running text: ``p = 0.018``, ``p < 0.001``."""
    text = number(p, "p_value")
    return f"p < {text[1:]}" if text.startswith("<") else f"p = {text}"


def bounds(low: float, high: float, unit: str) -> str:
    """An interval in square brackets, or nothing where there is none."""
    if math.isnan(low) or math.isnan(high):
        return ""
    return f"[{number(low, unit)}, {number(high, unit)}]"


def estimate(value: float, low: float, high: float, unit: str) -> str:
    """Value and interval for running text, with the per-cent sign where it is a share."""
    sign = "\N{NO-BREAK SPACE}%" if unit == "share" else ""
    between = bounds(low, high, unit)
    text = f"{number(value, unit)}{sign}"
    return f"{text} {between}".replace("], ", "],\N{NO-BREAK SPACE}") if between else text


def count(n: int, one: str, many: str | None = None) -> str:
    """A count with its noun: ``count(2, "lesson")`` is ``2 lessons``."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"
