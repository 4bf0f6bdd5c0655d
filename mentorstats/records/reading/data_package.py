"""``datapackage.json`` (Data Package v2) in a folder: which file is which table, and how it is written."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from mentorstats.errors import SourceFileError
from mentorstats.records.reading.column import Column
from mentorstats.records.reading.sheet import Options, Sheet
from mentorstats.writing import GUARD

FILE_NAME = "datapackage.json"
GUARDED = "textGuard"  # a property of our own: the mark before text that a spreadsheet would run
_LARGEST = 10_000_000  # bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """One file of a table; by heading, ``missing`` holds words for a missing value, ``dates`` its form."""

    name: str
    path: Path
    options: Options
    guard: bool = False
    missing: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    dates: Mapping[str, str] = field(default_factory=dict)

    def plain(self, sheet: Sheet, *, kept: Collection[str] = ()) -> Sheet:
        """Return the sheet without guards; words for a missing value, but those kept, are empty cells."""
        columns = [
            self._plain(column, [word for word in self.missing.get(heading, {}) if word not in ("", *kept)])
            for heading, column in zip(sheet.headings, sheet.columns, strict=True)
        ]
        return replace(sheet, columns=tuple(columns))

    def _plain(self, column: Column, words: list[str]) -> Column:
        values = column.values
        if self.guard:
            bare = pc.utf8_slice_codeunits(values, len(GUARD))
            values = pc.if_else(pc.starts_with(values, GUARD), bare, values)
        if words:
            values = pc.if_else(pc.is_in(values, value_set=pa.array(words)), "", values)
        return Column(column.codes, values)


def read(folder: Path) -> list[Resource] | None:
    """Return the files that a package names, None where the folder is none.

    Raises
    ------
    SourceFileError
        The descriptor is not legal, or names a file that is not in the folder.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        return None
    if path.stat().st_size > _LARGEST:
        raise SourceFileError(f"has more than {_LARGEST:,} bytes", where=FILE_NAME)
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError, OSError) as error:
        raise SourceFileError(f"is not legal JSON: {error}", where=FILE_NAME) from error
    listed = content.get("resources") if isinstance(content, dict) else None
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise SourceFileError("names no resources", where=FILE_NAME, remedy="Write a list of resources.")
    return [resource for one in listed for resource in _resources(one, folder)]


def _resources(one: Mapping[str, Any], folder: Path) -> list[Resource]:
    name, paths = one.get("name"), one.get("path")
    where = f"{FILE_NAME}, resource {name!r}"
    paths = [paths] if isinstance(paths, str) else paths
    if not isinstance(name, str) or not isinstance(paths, list) or not paths:
        raise SourceFileError("has no name or no path", where=where, remedy="Tables stand in files.")
    schema, dialect = _part(one, "schema", where), _part(one, "dialect", where)
    options = Options(
        delimiter=_text(dialect, "delimiter", ",", where), encoding=_text(one, "encoding", "utf-8", where)
    )
    fields = [each for each in schema.get("fields", ()) if isinstance(each, dict)]
    shared = _missing(schema)
    missing = {str(each.get("name")): {**shared, **_missing(each)} for each in fields}
    dates = {
        str(each.get("name")): str(each["format"])
        for each in fields
        if each.get("type") == "date" and "%" in str(each.get("format", ""))
    }
    guard = one.get(GUARDED) == GUARD
    return [
        Resource(
            name=name,
            path=_inside(folder, part, where),
            options=options,
            guard=guard,
            missing=missing,
            dates=dates,
        )
        for part in paths
    ]


def _part(one: Mapping[str, Any], key: str, where: str) -> Mapping[str, Any]:
    found = one.get(key, {})
    if not isinstance(found, dict):
        raise SourceFileError(
            f"{key} stands in another file", where=where, remedy=f"Put the {key} into {FILE_NAME}."
        )
    return found


def _text(part: Mapping[str, Any], key: str, otherwise: str, where: str) -> str:
    found = part.get(key, otherwise)
    try:
        "".encode(found if key == "encoding" else "utf-8")
    except (LookupError, TypeError) as error:
        raise SourceFileError(f"{key} = {found!r} is not known", where=where) from error
    if not isinstance(found, str) or (key == "delimiter" and len(found) != 1):
        raise SourceFileError(f"{key} = {found!r} is not known", where=where)
    return found


def _missing(part: Mapping[str, Any]) -> dict[str, str]:
    """Words for a missing value, each with its label, which is empty in the older form without labels."""
    listed = part.get("missingValues", ())
    pairs = [one if isinstance(one, dict) else {"value": one} for one in listed]
    return {str(one.get("value", "")): str(one.get("label", "")) for one in pairs}


def _inside(folder: Path, part: object, where: str) -> Path:
    path = folder / str(part)
    if Path(str(part)).is_absolute() or folder.resolve() not in path.resolve().parents or not path.is_file():
        raise SourceFileError(
            f"path {part!r} is no file in the folder", where=where, remedy="Put the file beside it."
        )
    return path
