"""A folder of exports to checked tables, with every problem and the checksum of every file."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from mentorstats import dictionary
from mentorstats.errors import MappingError, MentorstatsError, NothingUsableError, SourceFileError
from mentorstats.records import keys
from mentorstats.records import mapping as mapped_by
from mentorstats.records.check import Checked, check
from mentorstats.records.long import level_order, long_table
from mentorstats.records.problems import NOTICE, Collector, Fault
from mentorstats.records.read import KINDS, OTHER_TABLES, Form, Sheet, sheets
from mentorstats.records.reshape import Part, reshape

PROVENANCE = ("file", "sheet", "row")

ALWAYS = ("placements", "observations", "ratings", "rubrics", "raters")  # empty frames where absent
_RAGGED = Fault(
    "wrong number of cells",
    "a record has a cell for each heading",
    "Look for a missing or an extra delimiter.",
)
_UNMAPPED = Fault(
    "file not used", "every file feeds a table", "Name it in mapping.toml, or move it away.", NOTICE
)
_OUTSIDE = Fault(
    "date outside placement",
    "a lesson lies between start and end of its placement",
    "Check both dates.",
    NOTICE,
)


@dataclass(frozen=True, slots=True)
class Records:
    """Checked records of a programme.

    Attributes
    ----------
    tables : dict of DataFrame
        Usable rows by table; each row ends with the file, sheet and row it came from.
    problems : DataFrame
        problem, file, sheet, row, column, value, rule, effect (stops, set_aside, notice), remedy.
    sources : DataFrame
        file, sheet, table, sha256, rows_read, rows_kept, rows_set_aside.
    """

    tables: dict[str, pd.DataFrame] = field(repr=False)
    problems: pd.DataFrame = field(repr=False)
    sources: pd.DataFrame

    @property
    def placements(self) -> pd.DataFrame:
        """One row a placement."""
        return self.tables["placements"]

    @property
    def observations(self) -> pd.DataFrame:
        """One row an observed lesson."""
        return self.tables["observations"]

    @property
    def ratings(self) -> pd.DataFrame:
        """One row a rating; ``level`` is an ordered categorical of the declared levels."""
        return self.tables["ratings"]

    @property
    def rubrics(self) -> pd.DataFrame:
        """One row a level of a criterion of a version."""
        return self.tables["rubrics"]

    @property
    def raters(self) -> pd.DataFrame:
        """One row a rater in a role."""
        return self.tables["raters"]

    def long(self) -> pd.DataFrame:
        """Ratings joined with lesson and placement: the table that every analysis starts from."""
        return long_table(self.tables)

    def save(self, folder: str | Path) -> Path:
        """Write the tables to ``folder/.mentorstats`` as Parquet; `reload` reads them back."""
        from mentorstats.records.store import save

        return save(self, Path(folder))


def load(folder: str | Path, mapping: str | Path | None = None) -> Records:
    """Read, map, reshape and check the exports in a folder.

    Parameters
    ----------
    folder
        Holds CSV, TSV, XLSX and Parquet files; names that start with ``.`` or ``~$`` are not read.
    mapping
        The mapping file; ``folder/mapping.toml`` where there is one. Without a mapping, files and
        sheets named like a table, with our column names, load as they are.

    Returns
    -------
    Records
        Faulty rows are set aside and listed in ``problems``; the files are never altered.

    Raises
    ------
    SourceFileError
        The folder or a file cannot be read.
    MappingError
        The mapping is wrong or does not fit the files; no levels are declared.
    NothingUsableError
        Ratings were read and every one was set aside.
    """
    home = Path(folder)
    files = _files(home)
    own = Path(mapping) if mapping is not None else home / mapped_by.FILE_NAME
    mapped = mapped_by.read(own) if mapping is not None or own.is_file() else None
    faults = Collector()
    parts = _parts(files, mapped, faults)
    if mapped is not None:
        parts.setdefault("rubrics", []).extend(_scale_parts(mapped, own.name))
    checked = _checked(parts, faults)
    tables = {name: state.frame() for name, state in checked.items()}
    _type_levels(tables)
    sources = _sources(files, checked)
    if len(checked["ratings"].aside) and checked["ratings"].aside.all():
        raise NothingUsableError(
            f"all {len(checked['ratings'].aside)} ratings were set aside",
            where=str(home),
            remedy=_first_words(faults),
        )
    return Records(tables, faults.frame(), sources)


def _files(home: Path) -> list[Path]:
    if not home.is_dir():
        raise SourceFileError("no such folder", where=str(home))
    names = sorted(
        path for path in home.iterdir() if path.is_file() and not path.name.startswith((".", "~$"))
    )
    readable = [path for path in names if path.suffix.lower() in KINDS]
    if not readable:
        unread = [path.name for path in names if path.suffix.lower() in OTHER_TABLES]
        raise SourceFileError(
            f"no export to read{': only ' + ', '.join(unread) if unread else ''}",
            where=str(home),
            allowed=KINDS,
        )
    return [*readable, *(path for path in names if path.suffix.lower() in OTHER_TABLES)]


def _parts(files: list[Path], mapped: mapped_by.Mapped | None, faults: Collector) -> dict[str, list[Part]]:
    """Parts of each table; every structural error is gathered before any is raised."""
    found: dict[str, list[Part]] = {}
    errors: list[MentorstatsError] = []
    used: set[str] = set()
    read: dict[tuple[Path, Form, str | None], list[Sheet]] = {}
    readable = [path for path in files if path.suffix.lower() in KINDS]
    for path, source in _plan(readable, mapped, errors):
        form, only = (source.form, source.sheet) if source is not None else (Form(), None)
        try:
            if (path, form, only) not in read:
                read[path, form, only] = list(sheets(path, form=form, only=only))
            for sheet in read[path, form, only]:
                block = source if source is not None else _as_named(sheet)
                if block is not None:
                    found.setdefault(block.table, []).append(reshape(sheet, block))
                    used.add(path.name)
        except MentorstatsError as error:
            errors.append(error)
    if errors:
        raise errors[0] if len(errors) == 1 else type(errors[0])("\n".join(str(error) for error in errors))
    for sheet in {(one.file, one.sheet): one for group in read.values() for one in group}.values():
        rows = np.array([row for row, _, _ in sheet.ragged], dtype=np.int64)
        texts = [text for _, _, text in sheet.ragged]
        faults.add(_RAGGED, file=sheet.file, sheet=sheet.sheet, row=rows, value=texts)
    for path in files:
        if path.name not in used:
            faults.add(_UNMAPPED, file=path.name, sheet="", row=None)
    return found


def _plan(
    files: list[Path], mapped: mapped_by.Mapped | None, errors: list[MentorstatsError]
) -> list[tuple[Path, mapped_by.Source | None]]:
    """Which file is read by which block; None where names speak for themselves."""
    if mapped is None:
        return [(path, None) for path in files]
    plan: list[tuple[Path, mapped_by.Source | None]] = []
    for source in mapped.sources:
        matching = [path for path in files if source.matches(path.name)]
        if not matching:
            names = [path.name for path in files]
            hint = mapped_by.nearest(source.file, names)
            errors.append(MappingError(f"no file {source.file!r}{hint}", where=source.where, allowed=names))
        plan += [(path, source) for path in matching]
    return plan


def _as_named(sheet: Sheet) -> mapped_by.Source | None:
    """Block of a sheet that carries a table's name and our field names, else None."""
    name = (sheet.sheet or Path(sheet.file).stem).strip().lower()
    if name not in dictionary.tables():
        return None
    present = [field for field in dictionary.table(name).names if field in sheet.table.column_names]
    return mapped_by.Source(file=sheet.file, table=name, columns={field: field for field in present})


def _scale_parts(mapped: mapped_by.Mapped, file: str) -> Iterator[Part]:
    """Rubric rows that the mapping declares itself."""
    for number, scale in enumerate(mapped.scales, start=1):
        pairs = [
            (code, rank, level) for code in scale.criteria for rank, level in enumerate(scale.levels, start=1)
        ]
        columns = {
            "rubric": [scale.rubric] * len(pairs),
            "version": [scale.version] * len(pairs),
            "criterion": [code for code, _, _ in pairs],
            "level": [level for _, _, level in pairs],
            "rank": [str(rank) for _, rank, _ in pairs],
        }
        arrays = {name: pa.array(values, pa.string()) for name, values in columns.items()}
        yield Part("rubrics", file, f"scale {number}", arrays, np.arange(1, len(pairs) + 1), {}, {})


def _checked(parts: dict[str, list[Part]], faults: Collector) -> dict[str, Checked]:
    names = [name for name in dictionary.tables() if name in ALWAYS or name in parts]
    if parts.get("ratings") and not parts.get("rubrics"):
        raise MappingError(
            "no levels are declared",
            where="rubrics",
            remedy="Export the rubric as a table, or give [[scale]] blocks in mapping.toml.",
        )
    done: dict[str, Checked] = {}
    for name in names:
        state = check(dictionary.table(name), parts.get(name, []), faults)
        if len(state.aside):
            keys.refuse_twice(state)
            keys.notice_order(state)
            keys.refuse_dangling(state, {other: one for other, one in done.items() if len(one.aside)})
        if name == "ratings" and len(state.aside):
            keys.refuse_undeclared_levels(state, done["rubrics"])
        if name == "observations" and len(state.aside):
            _notice_outside(state, done["placements"])
        done[name] = state
    return done


def _notice_outside(lessons: Checked, placements: Checked) -> None:
    """Note lessons outside their placement."""
    dates = placements.frame()[["placement", "start", "end"]]
    joined = lessons.frame()[["placement", "date"]].merge(dates, on="placement", how="left", sort=False)
    outside = (joined["date"] < joined["start"]) | (joined["date"] > joined["end"])
    marked = np.zeros(len(lessons.aside), dtype=bool)
    marked[np.flatnonzero(~lessons.aside)[outside.to_numpy()]] = True
    lessons.report(_OUTSIDE, marked, "date")


def _type_levels(tables: dict[str, pd.DataFrame]) -> None:
    order = level_order(tables["rubrics"])
    tables["ratings"]["level"] = pd.Categorical(tables["ratings"]["level"], categories=order, ordered=True)


def _sources(files: list[Path], checked: dict[str, Checked]) -> pd.DataFrame:
    digest = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}
    rows = []
    for name, state in checked.items():
        for number, part in enumerate(state.parts):
            mine = state.part == number
            aside = int(np.count_nonzero(state.aside & mine))
            read = int(np.count_nonzero(mine))
            rows.append((part.file, part.sheet, name, digest.get(part.file, ""), read, read - aside, aside))
    columns = ["file", "sheet", "table", "sha256", "rows_read", "rows_kept", "rows_set_aside"]
    return pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[:4], "str"))


def _first_words(faults: Collector) -> str:
    frame = faults.frame()
    worst = frame.loc[frame["effect"] == "set_aside"].iloc[0]
    return f"The first: {worst['problem']} in {worst['file']}, row {worst['row']}: {worst['rule']}"
