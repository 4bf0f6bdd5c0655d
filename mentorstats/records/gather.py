"""Find the files of a folder, match them to the mapping, and read them.

Everything that makes a folder unreadable is found before the first row is judged, and told in one
message: a block that matches no file, a sheet or a heading that is not there.
"""

import fnmatch
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.declared import toml_file
from mentorstats.errors import MappingError, SourceFileError, nearest
from mentorstats.records import mapping
from mentorstats.records.mapping import Plan, Recipe, Source
from mentorstats.records.problems import NOTICE, Problems
from mentorstats.records.reading import data_package, read
from mentorstats.records.reading.column import Column
from mentorstats.records.reading.data_package import Resource
from mentorstats.records.reading.sheet import Options, Sheet

FORMS = "Rating forms"  # a sheet of ratings with a column a criterion, headed "[code] words"
EXPLANATIONS = "Explanations"  # the sheet of an empty workbook that holds no records

_CRITERION = re.compile(r"\[([^\]]+)\]")


@dataclass(frozen=True, slots=True)
class Found:
    """One sheet and the block of the mapping that it is read by."""

    source: Source
    sheet: Sheet
    sha256: str


def files_of(folder: Path) -> list[Path]:
    """Return the files in a folder that hold tables, hidden and temporary ones left out."""
    if not folder.is_dir():
        raise SourceFileError("there is no such folder", where=str(folder))
    kinds = (*read.READERS, *read.LOOKALIKES)
    found = [
        path
        for path in sorted(folder.iterdir())
        if path.suffix.lower() in kinds and not path.name.startswith((".", "~$"))
    ]
    for path in found:
        if not path.is_file():
            raise SourceFileError(
                "is no file, or a link that leads to none",
                where=path.name,
                remedy="Put the export in its place, or rename or remove it.",
            )
    if not found:
        raise SourceFileError(
            "the folder holds no table",
            where=str(folder),
            allowed=read.READERS,
            remedy="Put the exports there.",
        )
    return found


def gather(folder: Path, plan: Plan, problems: Problems) -> list[Found]:
    """Read what the mapping names; without one, what carries the name of a table."""
    files = files_of(folder)
    if plan.sources:
        found = _by_mapping(folder, plan, files, problems)
    else:
        found = _by_name(files, problems, data_package.read(folder))
    faults = [fault for item in found for fault in _headings_missing(item)]
    if faults:
        kind = MappingError if plan.sources else SourceFileError
        raise kind(" | ".join(faults))
    return found


def _by_mapping(folder: Path, plan: Plan, files: Iterable[Path], problems: Problems) -> list[Found]:
    paths = {source.where: _matches(folder, source) for source in plan.sources}
    sheets: dict[tuple[Path, Options], list[Sheet]] = {}
    used: set[tuple[Path, str]] = set()
    found = []
    for source in plan.sources:
        for path in paths[source.where]:
            key = (path, source.options)
            if key not in sheets:
                sheets[key] = read.read(path, path.relative_to(folder).as_posix(), source.options)
            for sheet in _chosen(source, sheets[key]):
                _need_headings(source, sheet)
                used.add((path, sheet.sheet))
                found.append(Found(source.of_file(path.name), sheet, ""))
    found = [looked_up(item, found) for item in found]
    for (path, _), there in sheets.items():
        for sheet in there:
            if (path, sheet.sheet) not in used:
                used.add((path, sheet.sheet))
                _note_unread(problems, sheet.file, sheet.sheet, f"no block of {plan.file} names the sheet")
    named = {path for path, _ in sheets}
    for path in files:
        if path not in named:
            _note_unread(problems, path.name, "", f"no block of {plan.file} names the file")
    return _with_checksums(folder, found)


def looked_up(item: Found, found: Iterable[Found]) -> Found:
    """Return a sheet with the columns of the one that its block looks things up in, where it has none such.

    Raises MappingError where no other block reads that sheet, or a key stands there for several rows.
    """
    link = item.source.look_up
    if link is None:
        return item
    where, fold = f"{item.source.where}, look_up", item.source.fold_accents
    there = [
        other.sheet
        for other in found
        if other.source.look_up is None
        and fnmatch.fnmatch(other.sheet.file, link.file)
        and link.sheet in ("", other.sheet.sheet)
    ]
    if not there:
        raise MappingError(
            f"no other block reads {link.file!r}",
            where=where,
            remedy="Write a [[source]] for it, for that is where it is said how to read it.",
        )
    for sheet, heading in ((item.sheet, link.column), (there[0], link.its)):
        if sheet.place(heading, fold_accents=fold) is None:
            raise MappingError(
                f"{sheet.where} has no column {heading!r}", where=where, allowed=sheet.headings
            )
    keys = there[0].column(link.its, fold_accents=fold).array()
    counted = pc.value_counts(keys.filter(pc.not_equal(keys, "")))
    twice = counted.field("values").filter(pc.greater(counted.field("counts"), 1))
    if len(twice):  # the cell is not shown, for it may be a name
        at = pc.index(there[0].column(link.its, fold_accents=fold).array(), twice[0]).as_py()
        raise MappingError(
            f"{link.its}: the text in row {there[0].rows[at]} of {there[0].where} stands in other rows too",
            where=where,
            remedy="Name a column whose cells differ from row to row.",
        )
    ours = item.sheet.column(link.column, fold_accents=fold)
    place = pc.index_in(ours.values, value_set=keys).fill_null(-1)
    rows = np.asarray(place.to_numpy(zero_copy_only=False), dtype=np.int64)[ours.codes]
    new = [
        (heading, column)
        for heading, column in zip(there[0].headings, there[0].columns, strict=True)
        if heading and item.sheet.place(heading, fold_accents=fold) is None
    ]
    columns = (*item.sheet.columns, *(_of_rows(column, rows) for _, column in new))
    headings = (*item.sheet.headings, *(heading for heading, _ in new))
    return replace(item, sheet=replace(item.sheet, headings=headings, columns=columns))


def _of_rows(column: Column, rows: npt.NDArray[np.int64]) -> Column:
    """The cells of these rows, an empty one where there is no row."""
    codes = np.append(column.codes, len(column.values))  # the last one is where row -1 leads
    return Column(codes[rows], pa.concat_arrays([column.values, pa.array([""], column.values.type)]))


def _matches(folder: Path, source: Source) -> list[Path]:
    pattern = source.file
    if not pattern or Path(pattern).is_absolute() or ".." in Path(pattern).parts:
        raise MappingError(f"file = {pattern!r} is no path within the folder", where=source.where)
    exact = folder / pattern
    try:
        found = [exact] if exact.is_file() else sorted(at for at in folder.glob(pattern) if at.is_file())
    except (ValueError, NotImplementedError, IndexError, OSError) as error:
        why = getattr(error, "strerror", None) or error
        raise MappingError(
            f"file = {toml_file.shown(pattern)} is no pattern of file names: {why}",
            where=source.where,
            allowed='a name, or one with *, such as "visits *.csv"',
        ) from None
    found = [path for path in found if not path.name.startswith((".", "~$"))]
    if not found:
        names = sorted(path.name for path in files_of(folder))
        near = nearest(pattern, names)
        raise MappingError(
            f"file = {pattern!r} names no file",
            where=source.where,
            allowed=names,
            remedy=f"Did you mean {near!r}?" if near else None,
        )
    return found


def _chosen(source: Source, sheets: list[Sheet]) -> list[Sheet]:
    if not source.sheet:
        return sheets
    chosen = [sheet for sheet in sheets if sheet.sheet == source.sheet]
    if not chosen:
        names = [sheet.sheet for sheet in sheets]
        near = nearest(source.sheet, names)
        raise MappingError(
            f"{source.file} has no filled sheet {source.sheet!r}",
            where=source.where,
            allowed=names,
            remedy=f"Did you mean {near!r}?" if near else None,
        )
    return chosen


def _need_headings(source: Source, sheet: Sheet) -> None:
    if not sheet.headings:
        raise MappingError(
            f"headings are looked for in row {source.options.heading_rows[-1]}, but the sheet ends before it",
            where=f"{source.where}, {sheet.where}",
            remedy="Give the row of the headings, as the spreadsheet counts rows.",
        )


def _by_name(
    files: Iterable[Path], problems: Problems, package: Iterable[Resource] | None = None
) -> list[Found]:
    found = []
    described = {resource.path.resolve(): resource for resource in package or ()}
    for path in files:
        resource = described.get(path.resolve())
        if resource is not None and path.suffix.lower() in read.READERS:
            found += _of_package(path, resource, problems)
            continue
        if path.suffix.lower() in read.LOOKALIKES:
            _note_unread(problems, path.name, "", f"files of kind {path.suffix} are not read")
            continue
        if path.suffix.lower() != ".xlsx" and not _table_called(path.stem):
            _note_unread(problems, path.name, "", "the file does not carry the name of a table")
            continue
        for sheet in read.read(path, path.name, Options()):
            name = _table_called(sheet.sheet or path.stem)
            if not name:
                if sheet.sheet != EXPLANATIONS:
                    _note_unread(
                        problems, path.name, sheet.sheet, "the sheet does not carry the name of a table"
                    )
                continue
            if not len(sheet.rows) and not sheet.ragged:
                continue
            found.append(Found(_as_it_is(sheet, name, problems), sheet, read.checksum(path)))
    if not found:
        raise SourceFileError(
            "no file or sheet has the name of a table",
            allowed=dictionary.tables(),
            remedy=f"Rename them, or describe them in {mapping.FILE_NAME}.",
        )
    return found


def _of_package(path: Path, resource: Resource, problems: Problems) -> list[Found]:
    """Read a file as its package says: its table, its words for missing values, its dates."""
    table = _table_called(resource.name)
    if not table:
        _note_unread(problems, path.name, "", f"the resource {resource.name!r} does not carry a table's name")
        return []
    found = []
    for sheet in read.read(path, path.name, resource.options):
        labelled = resource.missing.get("level", {}) if table == "ratings" else {}
        reasons = dictionary.table("ratings").field("missing_reason").categories
        missing = {word: label for word, label in labelled.items() if word and label in reasons}
        plain = resource.plain(sheet, kept=missing)
        source = _as_it_is(plain, table, problems)
        dates = tuple(dict.fromkeys([*source.dates, *resource.dates.values()]))
        found.append(Found(replace(source, missing=missing, dates=dates), plain, read.checksum(path)))
    return found


def _table_called(name: str) -> str:
    """The table that a file or a sheet is called after, by name or title, or none."""
    if name == FORMS:
        return "ratings"
    like = " ".join(name.casefold().split())
    names = {table: dictionary.table(table).title.casefold() for table in dictionary.tables()}
    return next((table for table, title in names.items() if like in (table, title)), "")


def _as_it_is(sheet: Sheet, name: str, problems: Problems) -> Source:
    """Read headings that are names or titles of fields, and categories by code or label."""
    table = dictionary.table(name)
    fields = table.names
    places = {field: _either_place(sheet, field, table.field(field).title) for field in fields}
    criteria = {}
    if name == "ratings" and places["criterion"] is None and places["level"] is None:
        criteria = {
            found[1].strip(): Recipe(headings=(heading,))
            for heading in sheet.headings
            if (found := _CRITERION.match(heading))
        }
    read = {recipe.named for recipe in criteria.values()}
    for number, heading in enumerate(sheet.headings):
        if heading and number not in places.values() and heading not in read:
            near = nearest(heading, fields)
            problems.add(
                f"column {heading!r} is not a field of {name}",
                file=sheet.file,
                sheet=sheet.sheet,
                column=heading,
                rule="not_read",
                effect=NOTICE,
                remedy=f"Did you mean {near!r}?" if near else "Nothing need be done if it is of no use.",
            )
    needed = {*table.required, *table.levels} - ({"criterion", "level"} if criteria else set())
    columns = {
        field: Recipe(headings=(field if place is None else sheet.headings[place],))
        for field, place in places.items()
        if place is not None or field in needed
    }
    words = {
        field.name: {label: code for code, label in field.categories.items() if label != code}
        for field in table.fields
        if field.categories and field.name in columns and field.name != "level"
    }
    return Source(
        file=sheet.file, table=name, where=sheet.where, columns=columns, criteria=criteria, values=words
    )


def _either_place(sheet: Sheet, name: str, title: str) -> int | None:
    place = sheet.place(name)
    return sheet.place(title) if place is None else place


def _headings_missing(found: Found) -> Iterable[str]:
    """Say of each heading that a source names and the sheet lacks what is nearest to it."""
    sheet, source = found.sheet, found.source
    places = {heading: sheet.place(heading, fold_accents=source.fold_accents) for heading in source.named}
    spare = [heading for i, heading in enumerate(sheet.headings) if heading and i not in places.values()]
    for heading, place in places.items():
        if place is None:
            near = nearest(heading, spare)
            like = f"the nearest heading is {near!r}" if near else f"headings: {', '.join(sheet.headings)}"
            yield f"{sheet.where} has no column {heading!r} ({like}{_delimiter_hint(sheet)})"


def _delimiter_hint(sheet: Sheet) -> str:
    for mark, name in ((";", ";"), ("\\t", "\t"), (",", ",")):
        if len(sheet.headings) == 1 and name in sheet.headings[0]:
            return f'; if columns are separated by "{mark}", say delimiter = "{mark}" in {mapping.FILE_NAME}'
    return ""


def _note_unread(problems: Problems, file: str, sheet: str, why: str) -> None:
    problems.add(
        why,
        file=file,
        sheet=sheet,
        rule="not_read",
        effect=NOTICE,
        remedy=f"Describe it in {mapping.FILE_NAME} if it belongs to the records.",
    )


def _with_checksums(folder: Path, found: list[Found]) -> list[Found]:
    sums = {file: read.checksum(folder / file) for file in {item.sheet.file for item in found}}
    return [Found(item.source, item.sheet, sums[item.sheet.file]) for item in found]
