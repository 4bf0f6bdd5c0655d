"""Results as plain text for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from mentorstats.declared.vocabulary import STATUSES, interval_words, meanings
from mentorstats.estimate import Status
from mentorstats.records import causes
from mentorstats.records.trace import by_sheet
from mentorstats.report.numbers import bounds, count, estimate, number
from mentorstats.report.reliability import plan_tables, plan_words

if TYPE_CHECKING:
    from mentorstats.calibration.networks.extra_scores_by_role import RoleLinks
    from mentorstats.records.propose import Proposal, Trial
    from mentorstats.reliability.plans.visit_plans import VisitPlans

Rows = Sequence[Sequence[str]]

SHARES = {"percent_agreement": "Same level", "percent_adjacent": "At most one level apart"}
_GAP = "  "
_OFTEN = 3  # faults of one value in one column that stand together
_ICC_NUMBERS = {"sem": "SEM", "observed_sd": "observed SD", "q": "q", "k_harmonic": "k (harmonic)"}


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


def intraclass(found: pd.DataFrame, note: str) -> str:
    """Block of intraclass correlations: never a value without model, type, definition and interval.

    Parameters
    ----------
    found
        From `mentorstats.agreement.icc` or `icc_incomplete`, one row a coefficient.
    note
        On what the table rests.
    """
    percent = "interval"
    if "confidence" in found and found["confidence"].notna().any():
        percent = f"{number(float(found['confidence'].max()), 'share')} % interval"
    given = [name for name in _ICC_NUMBERS if name in found]
    rows: list[tuple[str, ...]] = [
        ("coefficient", "value", percent, *(_ICC_NUMBERS[name] for name in given), "of", "status")
    ]
    for name, row in found.iterrows():
        rows.append(
            (
                str(name),
                number(row["value"], "coefficient"),
                bounds(row["low"], row["high"], "coefficient"),
                *(_with_bounds(row, extra) for extra in given),
                _text(row.get("definition")),
                _text(row.get("status", "ok")),
            )
        )
    right = (1, *range(3, 3 + len(given)))
    lines = ["Intraclass correlations of the levels as numbers", *columns(rows, right=right), *_kinds(found)]
    return "\n".join([*lines, f"{_GAP}{note}", *_notes(found)])


def _with_bounds(row: pd.Series, name: str) -> str:
    """A number, and its interval where the table has one."""
    if pd.isna(row[name]):
        return ""
    low, high = (float(row.get(name + bound, math.nan)) for bound in ("_low", "_high"))
    return f"{number(row[name], 'coefficient')} {bounds(low, high, 'coefficient')}".rstrip()


def _kinds(found: pd.DataFrame) -> list[str]:
    """The model, and the type of each coefficient, those alike on one line."""
    models = list(dict.fromkeys(_text(model) for model in found.get("model", ())))
    said: dict[str, list[str]] = {}
    for name, row in found.iterrows():
        one = [] if len(models) == 1 else [_text(row.get("model"))]
        said.setdefault("; ".join(filter(None, [*one, _text(row.get("type"))])), []).append(str(name))
    lines = [f"{_GAP}Model: {models[0]}."] if len(models) == 1 and models[0] else []
    return lines + [f"{_GAP}{', '.join(names)}: {words}." for words, names in said.items() if words]


def visit_plans(found: VisitPlans, links: Sequence[RoleLinks] = ()) -> str:
    """The sentence a director needs, the plans behind it, what would link raters, and what to know.

    Parameters
    ----------
    links
        From `mentorstats.calibration.linking.role_links`.
    """
    shown = found.estimable
    if shown.empty:
        return "\n".join(["No plan can be judged from these records.", *_numbered(found.notes)])
    percent = f"{number(float(shown['confidence'].iloc[0]), 'share')} % interval"
    worst = found.pessimistic.set_index(["n_raters", "n_visits"])["dependability"].to_dict()
    head: tuple[str, ...] = ("raters", "visits", "dependability", percent, "cost", "status")
    rows = [(*head[:4], "at worst", *head[4:])] if worst else [head]
    for _, row in shown.iterrows():
        value = number(row["dependability"], "zero_one")
        between = bounds(row["dependability_low"], row["dependability_high"], "zero_one")
        least = worst.get((row["n_raters"], row["n_visits"]))
        least_shown = [] if not worst else ["" if least is None else number(least, "zero_one")]
        size = (str(row["n_raters"]), str(row["n_visits"]))
        rows.append((*size, value, between, *least_shown, f"{row['cost']:g}", str(row["status"])))
    right = tuple(range(6 if worst else 5))
    lines = [plan_words.advice(found), "", "Plans", *columns(rows, right=right)]
    if worst:
        lines.append(f"{_GAP}At worst: {found.pessimistic['status_note'].iloc[0]}")
    lines += ["", *_links(links, plan_words.one_lesson(found))]
    told = dict.fromkeys(note for note in shown["status_note"] if note)
    return "\n".join([*lines, *told, *found.notes, _METHOD])


_METHOD = (
    "Dependability: share of the candidates in the variance of a mean score, raters' severity counted as "
    "error. For monitoring and training; not a sole basis for a decision about a person."
)


def _numbered(notes: Sequence[str]) -> list[str]:
    return [f"{_GAP}{note}" for note in notes]


def _links(links: Sequence[RoleLinks], sure: str) -> list[str]:
    """Networks of each role, and how many double-scorings by whom would join them; no candidates."""
    lines = []
    for one in links:
        lines.append(plan_words.linkage(one))
        if len(one.table):
            rows: list[tuple[str, ...]] = [("rater", "lessons", "networks", "cost", "")]
            for row in plan_tables.asked_for(one).to_dict("records"):
                why = "closes the ring" if row["closes_ring"] else ""
                rows.append((row["rater"], f"{row['n_lessons']}", row["joins"], f"{row['cost']:g}", why))
            lines += columns(rows, right=(1, 3))
    if sure and any(len(one.table) for one in links):
        lines.append(sure)
    return [*lines, ""] if lines else []


def checked(read: pd.Series, found: pd.DataFrame, odd: pd.DataFrame) -> str:
    """What was read, what to correct first, every fault, and what looks odd.

    Parameters
    ----------
    read, found, odd
        ``Records.overview()``, ``Records.problems`` and ``Records.oddities()``.
    """
    parts = [["Read", *columns([(str(name), text) for name, text in read.items()])]] if len(read) else []
    waiting = causes.waiting(found)
    first = found.loc[waiting[waiting > 0].sort_values(ascending=False, kind="stable").index]
    if len(first):
        parts.append(["Correct these first", *_listed(first)])
    parts.append([problems(found)])
    if len(odd):
        parts.append(["Looks odd, and may be right", *_listed(odd)])
    return "\n\n".join("\n".join(lines) for lines in parts)


def _listed(rows: pd.DataFrame) -> list[str]:
    """A line each, with the place in full."""
    lines = []
    for row in rows.itertuples():
        place = ", ".join(_text(part) for part in (row.file, row.sheet) if _text(part))
        number = f" row {row.row}" if _text(row.row) else ""
        lines.append((f"{place}{number}", _cut(row.column), f"{row.problem}."))
    return columns(lines)


def traced(cells: pd.DataFrame) -> str:
    """Where the traced rows stand, by table, and the columns that were read.

    Parameters
    ----------
    cells
        What `mentorstats.records.trace.trace` found.
    """
    lines: list[str] = []
    for table, place, said in by_sheet(cells):
        lines += [f"{table}: {place}", *(f"{_GAP}{one}" for one in said)]
    fixed = cells[cells["constant"].ne("")].drop_duplicates(["table", "file", "sheet", "field", "constant"])
    told = [f"{_GAP}{row.table}: {row.field} = {row.constant} ({row.file})" for row in fixed.itertuples()]
    return "\n".join([*lines, *(["", "Said by the mapping, not by a cell", *told] if told else [])])


def proposal(found: Proposal, trial: Trial) -> str:
    """What a proposed mapping makes of each sheet, what is left open, and what loading by it gives."""
    blocks = [(draft.where, draft.table) for draft in found.drafts.sources]
    parts = ["Read as", *columns(blocks)] if blocks else []
    if found.drafts.unread:
        parts += ["", "Not read", *(f"{_GAP}{name}: {why}" for name, why in found.drafts.unread)]
    if found.drafts.changes:
        parts += ["", "Changed against mapping.toml", *(f"{_GAP}{change}" for change in found.drafts.changes)]
    if found.left_open:
        parts += ["", "Left open (marked UNSURE in the file)"]
        parts += [f"{_GAP}{line}" for line in _numbered(found.left_open)]
    parts += ["", "Loaded by it"]
    if trial.refused:
        parts.append(f"{_GAP}not yet: {trial.refused}")
    else:
        parts += columns(
            [(name, f"{n:,}") for name, n in trial.rows.items()] or [("nothing", "")], right=(1,)
        )
        parts.append(f"{_GAP}{trial.set_aside:,} faulty entries set aside; mentorstats check lists them")
    return "\n".join([*parts, "", "Read the file, correct it, then run mentorstats check."])


def problems(found: pd.DataFrame) -> str:
    """Every fault by file and sheet with its remedy; those of one kind in one row, or of one value, together.

    Parameters
    ----------
    found
        ``Records.problems``.
    """
    if found.empty:
        return "No fault was found."
    lines: list[str] = []
    for (file, sheet), rows in found.groupby(["file", "sheet"], dropna=False, sort=True):
        lines += [f"{file}, sheet {sheet}" if _text(sheet) else str(file)]
        value = rows.groupby(["column", "value", "rule", "effect"], dropna=False, sort=False)
        often = (value["row"].transform("size") >= _OFTEN) & rows["value"].ne("")
        places = rows["row"].where(~often, -1 - value.ngroup())  # one number for all rows of a value
        alike = rows.groupby([places, "rule", "effect"], dropna=False, sort=False)
        lines += [*columns([_fault(group) for _, group in alike]), ""]
    effects = found["effect"].value_counts().sort_index()
    said = ", ".join(f"{n:,} {_word(effect)}" for effect, n in effects.items())
    return "\n".join([*lines, f"{count(len(found), 'entry', 'entries')}: {said}."])


def _fault(alike: pd.DataFrame) -> tuple[str, ...]:
    """Place, fault and remedy of the first of some entries, and how many more there are."""
    first = alike.iloc[0]
    place = f"row {first['row']}" if _text(first["row"]) else ""
    notice = "" if first["effect"] == "set_aside" else f"{_word(first['effect'])}: "
    where = "in this row" if alike["row"].nunique() <= 1 else "in other rows"
    more = f" ({len(alike) - 1:,} more like it {where})" if len(alike) > 1 else ""
    return (place, _cut(first["column"]), f"{notice}{first['problem']}{more}. {_text(first['remedy'])}")


def _cut(text: object, longest: int = 32) -> str:
    shown = _text(text)
    return shown if len(shown) <= longest else f"{shown[: longest - 2]} …"


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


def _notes(*tables: pd.DataFrame) -> list[str]:
    """Meanings of the statuses that are shown, and how the intervals of the first table were made."""
    shown = pd.concat([table.get("status", pd.Series(dtype="str")) for table in tables])
    lines = [
        f"{status}: {meanings(STATUSES)[str(status)]}" for status in shown.unique() if status != Status.OK
    ]
    lines += _methods(tables[0])
    return ["", *lines] if lines else []


def _methods(found: pd.DataFrame) -> list[str]:
    """Say how the intervals were made and of whom they speak."""
    if "interval_method" not in found:
        return []
    methods = interval_words(found["interval_method"])
    if not methods:
        return []
    spoken = sorted(set(found.get("generalises_to", pd.Series(dtype="str"))) - {""})
    return [f"Intervals: {'; '.join(methods)}{'; for ' + ', '.join(spoken) if spoken else ''}."]


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


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]


def _word(value: object) -> str:
    return _text(value).replace("_", " ")
