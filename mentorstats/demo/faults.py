"""Faults planted in the exports, each written down with the place where it stands."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.demo.cycles import WORKBOOK
from mentorstats.demo.layout import rows
from mentorstats.demo.rubric import hearthside
from mentorstats.demo.sheets import Sheet

UNLISTED = "left_over_2025.csv"  # a file that the mapping does not name
FRESH = "?"  # a code that nobody has

Where = tuple[str, str]
Key = tuple[str, str, str]

_VISITS = (WORKBOOK, "Visits")
_MENTORS = (WORKBOOK, "Mentor forms")
_SUPERVISORS = (WORKBOOK, "Supervisor forms")
_FORMS = ("forms_2024-25.csv", "")
_RATINGS = ("ratings_2025-26.csv", "")

# Rows added to the clean ones, sound but for one cell: where, field, what stands there, what is wrong.
_ADDED: tuple[tuple[Where, str, str, str], ...] = (
    ((WORKBOOK, "Placements"), "start", "2023-09-31", "not_a_date"),
    ((WORKBOOK, "Placements"), "status", "On leave", "not_allowed"),
    (("placements_2024-25.csv", ""), "end", "13/14/2024", "not_a_date"),
    (("placements_2024-25.csv", ""), "candidate", "", "missing"),
    (_VISITS, "minutes", "-45", "below_minimum"),
    (_VISITS, "date", "2023-11-31", "not_a_date"),
    (_VISITS, "visit_mode", "By phone", "not_allowed"),
    (_VISITS, "placement", FRESH, "unknown_key"),
    (("visits_2024-25.csv", ""), "date", "31/02/2025", "not_a_date"),
    (("visits_2024-25.csv", ""), "placement", FRESH, "unknown_key"),
    (("visits_2024-25.csv", ""), "strengths_noted", "-2", "below_minimum"),
    (("observations_2025-26.csv", ""), "minutes", "about 40", "not_a_number"),
    (("observations_2025-26.csv", ""), "pre_conference", "perhaps", "not_a_boolean"),
    (("observations_2025-26.csv", ""), "observation", "", "missing"),
    (_MENTORS, "observation", FRESH, "unknown_key"),
    (_FORMS, "observation", FRESH, "unknown_key"),
    (_FORMS, "rater_role", "Caretaker", "not_allowed"),
    (_FORMS, "rater", "", "missing"),
    (_RATINGS, "observation", FRESH, "unknown_key"),
    (_RATINGS, "rater", "", "missing"),
    (_RATINGS, "criterion", "k7w3", "unknown_criterion"),
    (_RATINGS, "criterion", "t8c6", "unknown_criterion"),  # of the first version only
    (_RATINGS, "rubric_version", "3", "unknown_version"),
    (_RATINGS, "rubric", "heartside", "unknown_rubric"),
    (_RATINGS, "level", "5", "undeclared_level"),
    (_RATINGS, "level", "stedy", "undeclared_level"),
    (_RATINGS, "independent", "maybe", "not_a_boolean"),
    (("raters.csv", ""), "trained_on", "June 2025", "not_a_date"),
)

# Levels of wide forms written over: the rating that stood there is lost.
_WRITTEN_OVER: tuple[tuple[Where, str], ...] = (
    (_MENTORS, "Stedily"),
    (_MENTORS, "4"),
    (_SUPERVISORS, "In parts"),
    (_SUPERVISORS, "Pupils carry on"),
    (_FORMS, "Q"),
    (_FORMS, "H/P"),
)


# Rows handed in twice: the copy follows somewhere after its original.
_TWICE: tuple[Where, ...] = (_MENTORS, _FORMS, _RATINGS, _VISITS)

# Rows handed in twice with another level in one criterion: neither can be believed.
_CONTRADICTED: tuple[Where, ...] = (_SUPERVISORS, _FORMS, _RATINGS)

_FRESH_IN_COPIES = {
    "placements": ("placement", "candidate"),
    "observations": ("observation",),
    "raters": ("rater",),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted fault.

    Attributes
    ----------
    problem, effect
        What is wrong, and what comes of it: set_aside or notice.
    file, sheet, label, column, value
        Where: ``label`` is the record's label in the sheet's table.
    lost
        observation, rater, criterion of the clean rating that stood there, if one did.
    """

    problem: str
    effect: str
    file: str
    sheet: str
    label: int
    column: str
    value: str
    lost: tuple[str, str, str] | None = None


@dataclass(slots=True)
class _Bench:
    """A sheet at work: which of its records already carry a fault."""

    sheet: Sheet
    rng: np.random.Generator
    touched: set[int]

    def pick(self, among: pd.Series | None = None) -> int:
        """Label of a random record without a fault, which then counts as having one."""
        table = self.sheet.table
        free = ~table.index.isin(list(self.touched))
        label = int(self.rng.choice(table.index[free if among is None else free & among.to_numpy()]))
        self.touched.add(label)
        return label

    def record(self, label: int) -> dict[str, str]:
        """Cells of a record by heading."""
        return {str(heading): str(cell) for heading, cell in self.sheet.table.loc[label].items()}

    def insert(self, record: dict[str, str], after: int = -1) -> int:
        """Put a record at a random place after another one and return its label."""
        table = self.sheet.table
        begin = 0 if after < 0 else int(np.flatnonzero(table.index == after)[0]) + 1
        at = int(self.rng.integers(begin, len(table) + 1))
        label = int(table.index.max()) + 1
        new = pd.DataFrame([record], index=[label], columns=table.columns, dtype="str")
        self.sheet.table = pd.concat([table.iloc[:at], new, table.iloc[at:]])
        self.touched.add(label)
        return label

    def fault(self, problem: str, effect: str, label: int, column: str, lost: Key | None = None) -> Fault:
        """Write down what stands in a cell."""
        value = str(self.sheet.table.loc[label, column])
        layout = self.sheet.layout
        return Fault(problem, effect, layout.file, layout.sheet, label, column, value, lost)


def plant(exports: Iterable[Sheet], rng: np.random.Generator) -> list[Fault]:
    """Put the faults into the sheets' cells and return them."""
    benches = {(sheet.layout.file, sheet.layout.sheet): _Bench(sheet, rng, set()) for sheet in exports}
    planted = [_write_over(benches[where], value) for where, value in _WRITTEN_OVER]
    for where, field, value, problem in _ADDED:
        planted.append(_add(benches[where], field, value, problem, benches.values()))
    for where in _TWICE:
        planted += _hand_in_twice(benches[where])
    for where in _CONTRADICTED:
        planted += _contradict(benches[where])
    return planted


def _write_over(bench: _Bench, value: str) -> Fault:
    sheet = bench.sheet
    heading = str(bench.rng.choice(list(sheet.layout.criteria.values())))
    label = bench.pick(sheet.table[heading].isin(list(sheet.layout.levels)))
    lost = _key(bench, label, heading)
    sheet.table.loc[label, heading] = value
    return bench.fault("undeclared_level", "set_aside", label, heading, lost)


def _add(bench: _Bench, field: str, value: str, problem: str, benches: Iterable[_Bench]) -> Fault:
    sheet = bench.sheet
    columns = sheet.layout.columns
    like = bench.pick()
    record = bench.record(like)
    bench.touched.discard(like)
    for name in _FRESH_IN_COPIES.get(sheet.layout.table, ()):
        record[columns[name]] = _fresh(name, record[columns[name]], benches, bench.rng)
    if sheet.layout.table == "ratings":
        record[columns["rater"]] = _other_rater(sheet, record, bench.rng)
    record[columns[field]] = (
        value if value != FRESH else _fresh(field, record[columns[field]], benches, bench.rng)
    )
    return bench.fault(problem, "set_aside", bench.insert(record), columns[field])


def _fresh(field: str, like: str, benches: Iterable[_Bench], rng: np.random.Generator) -> str:
    """Return a code shaped like another that stands in no sheet under that field."""
    tables = [(bench.sheet.layout.columns, bench.sheet.table) for bench in benches]
    known = {code for columns, table in tables if field in columns for code in table[columns[field]]}
    kinds = ["bcdfghjkmnpqrstvwxyz" if mark.isalpha() else "23456789" for mark in like]
    while True:
        code = "".join(rng.choice(list(kind)) for kind in kinds)
        if code not in known:
            return code


def _other_rater(sheet: Sheet, record: dict[str, str], rng: np.random.Generator) -> str:
    """Return a rater of the same role who has no form of the record's lesson."""
    columns, table = sheet.layout.columns, sheet.table
    role = columns.get("rater_role")
    same = table[table[role] == record[role]] if role else table
    there = table.loc[table[columns["observation"]] == record[columns["observation"]], columns["rater"]]
    others = sorted(set(same[columns["rater"]]) - set(there) - {""})
    return str(rng.choice(others))


def _hand_in_twice(bench: _Bench) -> list[Fault]:
    sheet = bench.sheet
    label = bench.pick()
    copy = bench.insert(bench.record(label), after=label)
    return [bench.fault("repeated", "notice", copy, heading) for heading in _rated(sheet)]


def _contradict(bench: _Bench) -> list[Fault]:
    sheet = bench.sheet
    headings = _rated(sheet)
    heading = str(bench.rng.choice(headings))
    levels = list(sheet.layout.levels) or list(hearthside().levels)
    label = bench.pick(sheet.table[heading].isin(levels))
    record = bench.record(label)
    record[heading] = str(bench.rng.choice([level for level in levels if level != record[heading]]))
    copy = bench.insert(record, after=label)
    lost = _key(bench, label, heading)
    planted = [bench.fault("repeated", "notice", copy, name) for name in headings if name != heading]
    return [
        *planted,
        bench.fault("contradicted", "set_aside", label, heading, lost),
        bench.fault("contradicted", "set_aside", copy, heading, lost),
    ]


def _rated(sheet: Sheet) -> list[str]:
    """Headings under which a record holds what can be repeated: its levels, or else its key."""
    layout = sheet.layout
    if layout.table != "ratings":
        return [next(iter(layout.columns.values()))]
    return list(layout.criteria.values()) or [layout.columns["level"]]


def _key(bench: _Bench, label: int, heading: str) -> Key:
    layout, record = bench.sheet.layout, bench.record(label)
    columns = layout.columns
    codes = {theirs: code for code, theirs in layout.criteria.items()}
    criterion = codes[heading] if codes else record[columns["criterion"]]
    return record[columns["observation"]], record[columns["rater"]], criterion


def listed(exports: Iterable[Sheet], planted: Iterable[Fault]) -> list[dict[str, object]]:
    """Return the planted faults with their rows as a spreadsheet shows them, for the truth file."""
    by_label = {}
    for sheet in exports:
        place = sheet.layout.file, sheet.layout.sheet
        by_label[place] = dict(zip(sheet.table.index, rows(sheet.table, sheet.layout).tolist(), strict=True))
    return [
        {
            "problem": fault.problem,
            "file": fault.file,
            "sheet": fault.sheet,
            "row": by_label[fault.file, fault.sheet][fault.label],
            "column": fault.column,
            "value": fault.value,
            "effect": fault.effect,
            "lost": list(fault.lost) if fault.lost else [],
        }
        for fault in planted
    ]
