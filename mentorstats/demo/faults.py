"""Faults planted in the exports, each written down with the place where it stands.

The rubrics have none: records cannot be read under a faulty scale.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats import dictionary
from mentorstats.demo.cycles import WORKBOOK
from mentorstats.demo.layout import Layout, rows
from mentorstats.demo.rubric import hearthside
from mentorstats.demo.sheets import Sheet

UNLISTED = "left_over_2025.csv"  # a file that the mapping does not name
FRESH = "?"  # a code that nobody has
_ASIDE = "@"  # before a place: the code of a lesson that was set aside there; its ratings are no fault

Where = tuple[str, str]
Key = tuple[str, str, str]

_PLACEMENTS = (WORKBOOK, "Placements")
_VISITS = (WORKBOOK, "Visits")
_VISITS_2 = ("visits_2024-25.csv", "")
_VISITS_3 = ("observations_2025-26.csv", "")
_MENTORS = (WORKBOOK, "Mentor forms")
_SUPERVISORS = (WORKBOOK, "Supervisor forms")
_FORMS = ("forms_2024-25.csv", "")
_RATINGS = ("ratings_2025-26.csv", "")
_KEY_SCORES = ("key_scores.csv", "")

# Records added to the clean ones, sound but for one cell: where, field, what stands there, the rule it
# breaks.
_ADDED: tuple[tuple[Where, str, str, str], ...] = (
    (_PLACEMENTS, "start", "2023-09-31", "type"),
    (_PLACEMENTS, "status", "On leave", "allowed"),
    (_PLACEMENTS, "end", "2023-08-01", "date_order"),
    (("placements_2024-25.csv", ""), "end", "13/14/2024", "type"),
    (("placements_2024-25.csv", ""), "candidate", "", "required"),
    (("placements_2025-26.csv", ""), "first_generation", "not asked", "type"),
    (_VISITS, "minutes", "-45", "minimum"),
    (_VISITS, "date", "2023-11-31", "type"),
    (_VISITS, "date", "2023-08-01", "outside_placement"),
    (_VISITS, "visit_mode", "By phone", "allowed"),
    (_VISITS, "placement", FRESH, "foreign_key"),
    (_VISITS_2, "date", "31/02/2025", "type"),
    (_VISITS_2, "debrief_date", "05/08/2024", "date_order"),
    (_VISITS_2, "placement", FRESH, "foreign_key"),
    (_VISITS_2, "strengths_noted", "-2", "minimum"),
    (_VISITS_3, "minutes", "about 40", "type"),
    (_VISITS_3, "minutes", "#N/A", "spreadsheet_error"),
    (_VISITS_3, "pre_conference", "perhaps", "type"),
    (_VISITS_3, "observation", "", "required"),
    (_MENTORS, "observation", FRESH, "foreign_key"),
    (_SUPERVISORS, "observation", "@Visits", "foreign_key"),
    (_FORMS, "observation", FRESH, "foreign_key"),
    (_FORMS, "rater_role", "Caretaker", "allowed"),
    (_FORMS, "rater", "", "required"),
    (_RATINGS, "observation", FRESH, "foreign_key"),
    (_RATINGS, "observation", "@visits_2024-25.csv", "foreign_key"),
    (_RATINGS, "rater", FRESH, "foreign_key"),
    (_RATINGS, "rater", "", "required"),
    (_RATINGS, "criterion", "k7w3", "declared_criterion"),
    (_RATINGS, "criterion", "t8c6", "declared_criterion"),  # of the first version only
    (_RATINGS, "rubric_version", "3", "declared_version"),
    (_RATINGS, "rubric", "heartside", "declared_rubric"),
    (_RATINGS, "level", "5", "declared_level"),
    (_RATINGS, "level", "reliabel", "declared_level"),
    (_RATINGS, "missing_reason", "WH", "level_or_reason"),
    (_RATINGS, "independent", "maybe", "type"),
    (("raters.csv", ""), "trained_on", "June 2025", "type"),
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

# Fields in which a record that is added cannot be like the one that it is made from.
_OWN = {
    "placements": ("placement", "candidate"),
    "observations": ("observation",),
    "raters": ("rater",),
    "key_ratings": ("recording",),
    "tutoring": ("pupil",),
}

# Faults of the key-scored recordings, planted last so that all others stay where they are.
_ADDED_LAST: tuple[tuple[Where, str, str, str], ...] = (
    (_KEY_SCORES, "key_level", "reliabel", "declared_level"),
    (_KEY_SCORES, "level", "4", "declared_level"),
    (_KEY_SCORES, "date", "32.08.2025", "type"),
)

# Faults of the tables beside the ratings, planted after all others for the same reason.
_ADDED_TO_PRACTICE: tuple[tuple[Where, str, str, str], ...] = (
    (("teaching_load.csv", ""), "placement", FRESH, "foreign_key"),
    (("questions.csv", ""), "observation", FRESH, "foreign_key"),
    (("coteaching.csv", ""), "arrangement", "Side by side", "allowed"),
    (("tutoring.csv", ""), "group_size", "0", "minimum"),
    (("tutoring.csv", ""), "after", "", "one_score_only"),
    (("orientation.csv", ""), "placement", FRESH, "foreign_key"),
)
_NOTICES = ("date_order", "outside_placement", "not_read", "one_score_only")
_NOTED_AT = {
    "level_or_reason": "level",
    "one_score_only": "before",
}  # the field, where it is not the one changed
_OF_A_CELL = ("type", "allowed", "minimum", "spreadsheet_error")


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted fault.

    Attributes
    ----------
    rule, effect
        The loader's name for what is wrong, and what comes of it: set_aside or notice.
    file, sheet, label, column, value
        Where: ``label`` is the record's label in the sheet's table. Without a column it is the whole
        record, without a label the whole file.
    lost
        observation, rater, criterion of the clean rating that stood there, if one did.
    """

    rule: str
    effect: str
    file: str
    sheet: str = ""
    label: int | None = None
    column: str = ""
    value: str = ""
    lost: Key | None = None


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

    def fault(self, rule: str, label: int, column: str, lost: Key | None = None) -> Fault:
        """Write down what stands in a cell."""
        layout, table = self.sheet.layout, self.sheet.table
        unknown_rater = rule == "foreign_key" and column == layout.columns.get("rater")
        kept = rule in _NOTICES or unknown_rater or (rule in _OF_A_CELL and not _needed(layout, column))
        effect = "notice" if kept else "set_aside"
        value = str(table.loc[label, column]) if column else ""
        return Fault(rule, effect, layout.file, layout.sheet, label, column, value, lost)


def plant(exports: Iterable[Sheet], rng: np.random.Generator) -> list[Fault]:
    """Put the faults into the sheets' cells and return them."""
    benches = {(sheet.layout.file, sheet.layout.sheet): _Bench(sheet, rng, set()) for sheet in exports}
    planted = [_write_over(benches[where], value) for where, value in _WRITTEN_OVER]
    for where, field, value, rule in _ADDED:
        if value.startswith(_ASIDE):
            # The lesson's own fault is the only one: its ratings stay.
            value = _aside(planted, value.removeprefix(_ASIDE), benches)
            _add(benches[where], field, value, rule, benches.values())
            continue
        planted.append(_add(benches[where], field, value, rule, benches.values()))
    for where in _TWICE:
        planted += _hand_in_twice(benches[where])
    for where in _CONTRADICTED:
        planted += _contradict(benches[where])
    planted.append(_add_a_cell(benches[_VISITS_2], benches.values()))
    for where, field, value, rule in (*_ADDED_LAST, *_ADDED_TO_PRACTICE):
        planted.append(_add(benches[where], field, value, rule, benches.values()))
    return [*planted, Fault("not_read", "notice", UNLISTED)]


def _needed(layout: Layout, heading: str) -> bool:
    """Whether a row cannot be without what stands under a heading."""
    table = dictionary.table(layout.table)
    needed = {*table.required, *table.primary_key, *table.levels}
    return any(layout.columns.get(name) == heading for name in needed)


def _write_over(bench: _Bench, value: str) -> Fault:
    sheet = bench.sheet
    heading = str(bench.rng.choice(list(sheet.layout.criteria.values())))
    label = bench.pick(sheet.table[heading].isin(list(sheet.layout.levels)))
    lost = _key(bench, label, heading)
    sheet.table.loc[label, heading] = value
    return bench.fault("known_label", label, heading, lost)


def _add(bench: _Bench, field: str, value: str, rule: str, benches: Iterable[_Bench]) -> Fault:
    column = bench.sheet.layout.columns[field]
    record = _another(bench, benches)
    record[column] = value if value != FRESH else _fresh(field, record[column], benches, bench.rng)
    noted = bench.sheet.layout.columns[_NOTED_AT.get(rule, field)]
    return bench.fault(rule, bench.insert(record), noted)


def _another(bench: _Bench, benches: Iterable[_Bench]) -> dict[str, str]:
    """Return a sound record that is not there yet, made from one that is."""
    columns, table = bench.sheet.layout.columns, bench.sheet.table
    like = bench.pick(table[columns["level"]] != "" if "level" in columns else None)
    bench.touched.discard(like)
    record = bench.record(like)
    for name in _OWN.get(bench.sheet.layout.table, ()):
        record[columns[name]] = _fresh(name, record[columns[name]], benches, bench.rng)
    if bench.sheet.layout.table == "ratings":
        record[columns["rater"]] = _other_rater(bench, record)
    return record


def _aside(planted: Iterable[Fault], place: str, benches: Mapping[Where, _Bench]) -> str:
    """Return the code of the first lesson whose record was planted to be set aside in that place."""
    for fault in planted:
        if place in (fault.file, fault.sheet) and fault.effect == "set_aside" and fault.label is not None:
            sheet = benches[fault.file, fault.sheet].sheet
            return str(sheet.table.loc[fault.label, sheet.layout.columns["observation"]])
    raise LookupError(place)


def _fresh(field: str, like: str, benches: Iterable[_Bench], rng: np.random.Generator) -> str:
    """Return a code shaped like another that stands in no sheet under that field."""
    tables = [(bench.sheet.layout.columns, bench.sheet.table) for bench in benches]
    known = {code for columns, table in tables if field in columns for code in table[columns[field]]}
    kinds = ["bcdfghjkmnpqrstvwxyz" if mark.isalpha() else "23456789" for mark in like]
    while True:
        code = "".join(rng.choice(list(kind)) for kind in kinds)
        if code not in known:
            return code


def _other_rater(bench: _Bench, record: dict[str, str]) -> str:
    """Return a rater of the same role, from a record without a fault, who has no form of the lesson."""
    columns, table = bench.sheet.layout.columns, bench.sheet.table
    role = columns.get("rater_role")
    same = table[~table.index.isin(list(bench.touched))]
    same = same[same[role] == record[role]] if role else same
    there = table.loc[table[columns["observation"]] == record[columns["observation"]], columns["rater"]]
    return str(bench.rng.choice(sorted(set(same[columns["rater"]]) - set(there))))


def _hand_in_twice(bench: _Bench) -> list[Fault]:
    label = bench.pick()
    copy = bench.insert(bench.record(label), after=label)
    return [bench.fault("repeated_row", copy, _repeated(bench.sheet)[0])]


def _contradict(bench: _Bench) -> list[Fault]:
    layout, table = bench.sheet.layout, bench.sheet.table
    headings = _repeated(bench.sheet)
    heading = str(bench.rng.choice(headings))
    scored = heading if layout.criteria else layout.columns["level"]
    levels = list(layout.levels) or list(hearthside().levels)
    label = bench.pick(table[scored].isin(levels))
    record = bench.record(label)
    record[scored] = str(bench.rng.choice([level for level in levels if level != record[scored]]))
    copy = bench.insert(record, after=label)
    lost = _key(bench, label, heading)
    alike = [name for name in headings if name != heading][:1]
    planted = [bench.fault("repeated_row", copy, name) for name in alike]
    return [*planted, *(bench.fault("primary_key", at, heading, lost) for at in (label, copy))]


def _repeated(sheet: Sheet) -> list[str]:
    """Headings of a record that may differ from its copy: criteria of a form, or the last of the key."""
    layout = sheet.layout
    if layout.criteria:
        return list(layout.criteria.values())
    return [layout.columns[dictionary.table(layout.table).primary_key[-1]]]


def _add_a_cell(bench: _Bench, benches: Iterable[_Bench]) -> Fault:
    label = bench.insert(_another(bench, benches))
    bench.sheet.ragged.add(label)
    return bench.fault("ragged_row", label, "")


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
            "rule": fault.rule,
            "file": fault.file,
            "sheet": fault.sheet,
            "row": None if fault.label is None else by_label[fault.file, fault.sheet][fault.label],
            "column": fault.column,
            "value": fault.value,
            "effect": fault.effect,
            "lost": list(fault.lost) if fault.lost else [],
        }
        for fault in planted
    ]
