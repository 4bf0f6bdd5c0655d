"""Is everything told that a report of an agreement study should tell?

The fifteen items follow GRRAS [kottner_2011] in words of our own. What the records can tell is filled in;
what the programme wrote in study.toml is put beside it; what is left is shown as a gap with its prompt.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from mentorstats.declared import study
from mentorstats.declared.vocabulary import interval_words
from mentorstats.entry import entry
from mentorstats.errors import need_columns
from mentorstats.sources import source
from mentorstats.tables import numbers

DATA, GIVEN, MISSING = "data", "given", "missing"

_COUNTS = {
    "n_units": "units rated twice or more",
    "n_raters": "raters",
    "n_ratings": "ratings",
    "n_clusters": "clusters",
    "n_left_out": "rows left out for a missing value",
}


@entry(keep_index=True)
def reporting_items(
    found: pd.DataFrame,
    *,
    long: pd.DataFrame | None = None,
    raters: pd.DataFrame | None = None,
    given: Mapping[str, str] | None = None,
    weights: str = "identity",
    cluster: str = "",
    detailed: str = "",
) -> pd.DataFrame:
    """Fill in the fifteen reporting items as far as the records go.

    Parameters
    ----------
    found
        A table of `coefficients`.
    long
        The ratings that it was made of, as the long table (`Records.long`); columns that are not there
        tell nothing.
    raters
        The register of raters.
    given
        A text an item, as `mentorstats.declared.study.read` reads them from study.toml.
    weights, cluster
        Weights of the coefficients, and what they were clustered by, as words.
    detailed
        Where the detailed tables are, if they are handed out.

    Returns
    -------
    DataFrame
        Indexed by item, fifteen rows in the order of a report: part, asks, text, filled (``data`` where
        the records tell at least some of it, then with what was given behind it; ``given``; or
        ``missing``), prompt, reference.

    Raises
    ------
    ColumnError
        ``found`` is no table of coefficients.
    SourceFileError
        ``given`` names something that is no item.
    """
    need_columns(found.columns, ("value", "low", "high", "interval_method", "n_units"), where="found")
    counts = [name for name in found.columns if name in _COUNTS]
    found = found.assign(**{name: numbers(found[name], "found") for name in counts})
    told = _told(found, long, raters, weights, cluster, detailed)
    written = study.checked(given or {}, where="given")
    rows = []
    for item in study.items():
        data, own = told.get(item.name, ""), written.get(item.name, "")
        filled = DATA if data else GIVEN if own else MISSING
        text = " ".join(filter(None, [data, own]))
        rows.append((item.part, item.asks, text, filled, item.prompt, "kottner_2011"))
    names = pd.Index([item.name for item in study.items()], name="item", dtype="str")
    return pd.DataFrame(
        rows, index=names, columns=["part", "asks", "text", "filled", "prompt", "reference"], dtype="str"
    )


def _told(
    found: pd.DataFrame,
    long: pd.DataFrame | None,
    raters: pd.DataFrame | None,
    weights: str,
    cluster: str,
    detailed: str,
) -> dict[str, str]:
    ratings = long if long is not None else pd.DataFrame()
    return {
        "named_as_agreement_study": _title(ratings),
        "instrument": _instrument(ratings),
        "independence": _independence(ratings),
        "statistics": _statistics(found, weights, cluster),
        "numbers_reached": _numbers(found, ratings),
        "who_took_part": _who(ratings, raters),
        "estimates": _estimates(found),
        "detailed_results": detailed,
    }


def _distinct(frame: pd.DataFrame, column: str) -> list[str]:
    return sorted(map(str, frame[column].dropna().unique())) if column in frame.columns else []


def _title(ratings: pd.DataFrame) -> str:
    roles, rubrics = _distinct(ratings, "rater_role"), _distinct(ratings, "rubric")
    if not roles or not rubrics:
        return ""
    return f"A study of agreement between raters ({', '.join(roles)}) on the rubric {', '.join(rubrics)}."


def _instrument(ratings: pd.DataFrame) -> str:
    if not {"rubric", "rubric_version", "criterion", "level"} <= set(ratings.columns) or ratings.empty:
        return ""
    by_version = ratings.groupby(["rubric", "rubric_version"], observed=True, as_index=False)
    versions = by_version.agg({"criterion": "nunique"})
    rows = zip(versions["rubric"], versions["rubric_version"], versions["criterion"], strict=True)
    parts = [f"rubric {rubric}, version {version}, {number} criteria" for rubric, version, number in rows]
    kind = ratings["level"].dtype
    if not isinstance(kind, pd.CategoricalDtype) or not kind.ordered:
        return f"{'; '.join(parts)}."
    return f"{'; '.join(parts)}. Levels, lowest first: {', '.join(map(str, kind.categories))}."


def _independence(ratings: pd.DataFrame) -> str:
    if "independent" not in ratings.columns or ratings.empty:
        return ""
    marked = ratings["independent"].astype("boolean")
    counts = (int(marked.eq(True).sum()), int(marked.eq(False).sum()), int(marked.isna().sum()))
    return (
        f"Of {len(ratings)} ratings, {counts[0]} are recorded as made independently, {counts[1]} as not, "
        f"and {counts[2]} without saying."
    )


def _statistics(found: pd.DataFrame, weights: str, cluster: str) -> str:
    names = ", ".join(dict.fromkeys(_names(found)))
    keys = [key for key in dict.fromkeys(found.get("reference", pd.Series(dtype="str"))) if key]
    methods = interval_words(found["interval_method"]) or ["none"]
    clustered = f"clustered by {cluster}" if cluster else "every unit its own cluster"
    sources = f" Definitions: {'; '.join(source(key).short for key in keys)}." if keys else ""
    return f"{names}; {weights} weights. Intervals: {'; '.join(methods)}; {clustered}.{sources}"


def _names(found: pd.DataFrame) -> list[str]:
    return [str(key[-1] if isinstance(key, tuple) else key) for key in found.index]


def _numbers(found: pd.DataFrame, ratings: pd.DataFrame) -> str:
    parts = [f"{_range(found[name])} {what}" for name, what in _COUNTS.items() if _known(found, name)]
    for column, what in (("candidate", "candidates"), ("observation", "lessons")):
        if column in ratings.columns:
            parts.append(f"{ratings[column].nunique()} {what}")
    return f"{'; '.join(parts)}." if parts else ""


def _known(found: pd.DataFrame, name: str) -> bool:
    return name in found.columns and bool(found[name].notna().any())


def _range(column: pd.Series) -> str:
    low, high = int(column.min()), int(column.max())
    return str(low) if low == high else f"{low} to {high}"


def _who(ratings: pd.DataFrame, raters: pd.DataFrame | None) -> str:
    parts = []
    if {"rater", "rater_role"} <= set(ratings.columns) and len(ratings):
        by_role = ratings.groupby("rater_role", observed=True)["rater"].nunique()
        parts.append(f"Raters by role: {', '.join(f'{role} {n}' for role, n in by_role.items())}.")
    if raters is not None and {"trained_on", "certified_on"} <= set(raters.columns) and len(raters):
        theirs = raters
        if {"rater"} <= set(ratings.columns) & set(raters.columns):
            theirs = raters[raters["rater"].isin(ratings["rater"].unique())]
        trained, certified = (int(theirs[name].notna().sum()) for name in ("trained_on", "certified_on"))
        parts.append(
            f"Of {len(theirs)} in the register, {trained} have a day of training and {certified} one of "
            "certification."
        )
    for column, what in (
        ("cohort", "Cohorts"),
        ("licensure_area", "Licensure areas"),
        ("grade_band", "Grade bands"),
    ):
        seen = _distinct(ratings, column)
        if seen:
            parts.append(f"{what}: {', '.join(seen)}.")
    return " ".join(parts)


def _estimates(found: pd.DataFrame) -> str:
    """Say how many estimates the table beside it has, for numbers stand there unrounded and not in words."""
    values, bounded = int(found["value"].notna().sum()), int(found["low"].notna().sum())
    if not values:
        return ""
    return f"{values} estimates, {bounded} of them with an interval, in the table of coefficients."
