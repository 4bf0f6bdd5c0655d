"""Words shared by the sections: names of versions, criteria and levels, and lists in prose."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import pandas as pd

from mentorstats.policy import Rule
from mentorstats.report.numbers import number
from mentorstats.tables import version_number


def version(rubric: str, number: str) -> str:
    """Name of a rubric version in running text."""
    return f"{rubric}, version {number}"


def key(*parts: object) -> str:
    """An address on the page from any labels: letters, digits and hyphens, different for different labels."""
    plain = ["".join(c if c.isascii() and c.isalnum() else "-" for c in str(part)) for part in parts]
    if plain == [str(part) for part in parts]:
        return "-".join(plain)
    digest = hashlib.sha256("\0".join(str(part) for part in parts).encode()).hexdigest()
    return "-".join([*plain, digest[:8]])


def level_labels(rubrics: pd.DataFrame, rubric: str, number: str) -> dict[int, str]:
    """Rank to what its level is called, lowest first.

    The label where all criteria share it, else the code where they share that, else the rank.
    """
    chosen = rubrics[(rubrics["rubric"] == rubric) & (rubrics["version"] == number)]
    return {
        rank: _called(chosen[chosen["rank"] == rank], rank)
        for rank in range(1, int(chosen["rank"].max()) + 1)
    }


def _called(rows: pd.DataFrame, rank: int) -> str:
    for column in ("label", "level"):
        if column in rows and rows[column].nunique(dropna=False) == 1 and rows[column].notna().all():
            return str(rows[column].iloc[0])
    return f"Level {rank}"


def criterion_titles(rubrics: pd.DataFrame, rubric: str, number: str) -> dict[str, str]:
    """Criterion code to its title in a version; nothing where the rubric gives no titles."""
    if "title" not in rubrics:
        return {}
    chosen = rubrics[(rubrics["rubric"] == rubric) & (rubrics["version"] == number)]
    titled = chosen[chosen["title"].notna()].drop_duplicates("criterion")
    return {str(code): str(title) for code, title in zip(titled["criterion"], titled["title"], strict=True)}


def listed(items: Sequence[str]) -> str:
    """Items as a list in prose: ``a, b and c``."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def sentence(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def period(long: pd.DataFrame) -> str:
    """First and last day of the rated lessons, and the cycles they belong to."""
    days = pd.to_datetime(long["date"]).dropna()
    cohorts = [str(name) for name in sorted(long["cohort"].dropna().unique())]
    cycles = f"cycle{'s' if len(cohorts) != 1 else ''} {listed(cohorts)}" if cohorts else ""
    between = f"{days.min().date().isoformat()} to {days.max().date().isoformat()}" if len(days) else ""
    return "; ".join(part for part in (between, cycles) if part) or "period not recorded"


def newest_first(rows: pd.DataFrame, size: str, enough: Rule) -> dict[tuple[str, str], pd.Series]:
    """Rows of rubric versions by rubric and version: the newest with enough candidates first.

    Parameters
    ----------
    rows
        One row a version, with ``rubric``, ``rubric_version``, ``n_clusters`` (candidates) and ``size``.
    size
        The column that orders versions without enough candidates.
    enough
        The policy's minimum group size.

    Notes
    -----
    Versions are compared as numbers where both are numbers, else as text.
    """
    found = {(str(row["rubric"]), str(row["rubric_version"])): row for _, row in rows.iterrows()}

    def place(item: tuple[tuple[str, str], pd.Series]) -> tuple[bool, float, str, float]:
        (_, version), row = item
        return (enough.met(row["n_clusters"]), version_number(version), version, float(row[size]))

    return dict(sorted(found.items(), key=place, reverse=True))


def breaks(found: pd.DataFrame | None) -> tuple[str, ...]:
    """A sentence for each change of the rubric's version, which is a break in every trend.

    Parameters
    ----------
    found
        From `mentorstats.records.crosswalk.breaks`.
    """
    told = []
    for row in found.to_dict("records") if found is not None else []:
        days = f"{row['last_before']:%Y-%m-%d}", f"{row['first_after']:%Y-%m-%d}"
        when = f"between {days[0]} and {days[1]}" if days[0] < days[1] else f"from {days[1]} to {days[0]}"
        change = f"{row['rubric']} changed from version {row['version_from']} to {row['version_to']} {when}"
        if row["author"]:
            told.append(
                f"{change}. By the crosswalk of {row['author']} ({row['date']}), {row['n_one_to_one']} of "
                f"{row['n_criteria']} criteria have exactly one counterpart; versions are shown separately."
            )
        else:
            told.append(f"{change}. There is no crosswalk, so levels before and after are not comparable.")
    return tuple(told)


def versions_named(rows: pd.DataFrame) -> list[str]:
    """Name of the rubric version of each row."""
    return [version(r, v) for r, v in zip(rows["rubric"], rows["rubric_version"], strict=True)]


def moved(what: str, before: float, after: float, under: str) -> str:
    """A sentence on what excluding ratings does to a share; a share that stays the same is no news."""
    first, last = number(before, "share"), number(after, "share")
    percent = "\N{NO-BREAK SPACE}%"
    if first == last:
        return f"Under {under}, excluding them makes no difference to {what} ({last}{percent})."
    return f"Under {under}, excluding them changes {what} from {first}{percent} to {last}{percent}."


def times(n: int) -> str:
    """How often: once, twice, 3 times."""
    return {1: "once", 2: "twice"}.get(n, f"{n:,} times")


def raters_of(role: str) -> str:
    """Raters of a role, in the plural."""
    return "other raters" if role == "other" else f"{role}s"
