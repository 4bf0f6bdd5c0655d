"""Results as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.report.numbers import bounds, count, estimate, meanings, number

Rows = Sequence[Sequence[str]]

SHARES = {"percent_agreement": "Same level", "percent_adjacent": "At most one level apart"}
_GAP = "  "


def columns(rows: Rows, *, right: Sequence[int] = ()) -> list[str]:
    """Lines of a table: columns padded to their widest cell, those in ``right`` set to the right."""
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append((_GAP + _GAP.join(cells)).rstrip())
    return lines


def agreement(found: pd.DataFrame, levels: pd.DataFrame, *, weights: str) -> str:
    """Three blocks: what raters did, what blind raters would do, agreement beyond chance.

    Parameters
    ----------
    found
        From `mentorstats.agreement.coefficients`, one row a coefficient.
    levels
        From `mentorstats.agreement.by_level`, one row a level.
    weights
        Name of the weights, for the heading.
    """
    shares = found.loc[list(SHARES)]
    rest = found.drop(index=list(SHARES))
    did = [(SHARES[str(name)], _estimate(row)) for name, row in shares.iterrows()]
    blind = [(SHARES[str(name)], _percent(row["p_expected"])) for name, row in shares.iterrows()]
    by_level = [
        (str(name), _estimate(row), count(_whole(row["n_ratings"]), "rating"))
        for name, row in levels.iterrows()
    ]
    parts = [
        "What raters did",
        *columns(did),
        f"{_GAP}{_sizes(found.iloc[0])}",
        f"{_GAP}Where one rater gave a level, how often another gave it too:",
        *(f"{_GAP}{line}" for line in columns(by_level, right=(2,))),
        "",
        "What blind raters would do",
        *columns(blind),
        "",
        f"Agreement beyond chance ({weights} weights)",
        *columns(_beyond(rest), right=(1, 3)),
        *_notes(found, levels),
    ]
    return "\n".join(parts)


def problems(found: pd.DataFrame) -> str:
    """Every fault with its place, value and remedy, one line each, and how many there are."""
    if found.empty:
        return "No fault was found."
    place = [_place(row) for _, row in found.iterrows()]
    heading = ("what was done", "where", "fault", "value", "remedy")
    rows = [
        (_word(row["effect"]), where, _word(row["problem"]), _text(row["value"]), _text(row["remedy"]))
        for where, (_, row) in zip(place, found.iterrows(), strict=True)
    ]
    effects = found["effect"].value_counts().sort_index()
    counted = ", ".join(f"{n:,} {_word(effect)}" for effect, n in effects.items())
    return "\n".join([*columns([heading, *rows]), "", f"{count(len(found), 'entry', 'entries')}: {counted}."])


def _beyond(rest: pd.DataFrame) -> list[tuple[str, ...]]:
    sizes = rest["confidence"].dropna().unique()
    percent = f"{number(float(sizes[0]), 'share')} % interval" if len(sizes) else "interval"
    rows: list[tuple[str, ...]] = [("coefficient", "value", percent, "chance share", "status")]
    for name, row in rest.iterrows():
        expected = "" if pd.isna(row["p_expected"]) else _percent(row["p_expected"])
        value = number(row["value"], "coefficient")
        between = bounds(row["low"], row["high"], "coefficient")
        rows.append((str(name), value, between, expected, str(row["status"])))
    return rows


def _notes(found: pd.DataFrame, levels: pd.DataFrame) -> list[str]:
    """Meanings of the statuses that are shown, and how the intervals were made."""
    used = [str(status) for status in pd.concat([found["status"], levels["status"]]).unique()]
    lines = [f"{status}: {meanings()[status]}" for status in used if status != Status.OK]
    methods = sorted({str(name) for name in found["interval_method"]} - {"none"})
    if methods:
        lines.append(f"Intervals: {', '.join(methods)}.")
    return ["", *lines] if lines else []


def _sizes(row: pd.Series) -> str:
    shown = f"{count(_whole(row['n_units']), 'unit')} with two ratings or more, "
    shown += f"{count(_whole(row['n_raters']), 'rater')}, {count(_whole(row['n_ratings']), 'rating')}"
    if not pd.isna(row["n_clusters"]):
        shown += f", {count(_whole(row['n_clusters']), 'cluster')}"
    left_out = _whole(row["n_left_out"])
    return f"{shown}; {count(left_out, 'row')} left out." if left_out else f"{shown}."


def _estimate(row: pd.Series) -> str:
    if pd.isna(row["value"]):
        return f"no value ({row['status']})"
    return estimate(row["value"], row["low"], row["high"], "share").replace("\N{NO-BREAK SPACE}", " ")


def _percent(share: float) -> str:
    return "no value" if pd.isna(share) else f"{number(share, 'share')} %"


def _whole(value: object) -> int:
    return 0 if pd.isna(value) else int(value)  # type: ignore[call-overload]


def _place(row: pd.Series) -> str:
    parts = [_text(row["file"])]
    parts += [f"sheet {_text(row['sheet'])}"] if _text(row["sheet"]) else []
    parts += [f"row {_text(row['row'])}"] if _text(row["row"]) else []
    parts += [f"column {_text(row['column'])}"] if _text(row["column"]) else []
    return ", ".join(parts)


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]


def _word(value: object) -> str:
    return _text(value).replace("_", " ")
