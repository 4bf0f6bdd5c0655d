"""A folder of exports to checked tables, every fault at once."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from mentorstats import dictionary
from mentorstats.errors import MappingError, SourceFileError
from mentorstats.records import causes, crosswalk, gather, mapping, reshape, trace
from mentorstats.records.checking import across, dates, frames, keys, levels
from mentorstats.records.checking.batch import Batch, joined
from mentorstats.records.checking.levels import Declared
from mentorstats.records.gather import Found
from mentorstats.records.identities import local
from mentorstats.records.identities.codes import Codes
from mentorstats.records.identities.people import People, of_folder
from mentorstats.records.mapping import Plan
from mentorstats.records.problems import Problems
from mentorstats.records.tables import Records

_SCALES = "rubrics"  # the table on which the meaning of every level rests


def load(folder: str | Path, mapping: str | Path | None = None) -> Records:
    """Read a folder of exports into checked tables; no file in it is altered.

    Rows whose key or level is faulty are set aside, never dropped unseen: each has its line in
    ``.problems``, and ``.sources`` counts them. Another cell that cannot be read is missing afterwards, with
    a notice, and its row stays; so does what points to a row that was set aside. White space around a
    cell does not count; all else is taken as it stands, "NA" and "007" included. Where the mapping has a
    block ``[identities]``, people are replaced by codes before anything is judged (see records/identities).

    Parameters
    ----------
    folder
        Folder that holds CSV, XLSX or Parquet files. Those whose names start with ``.`` or ``~$``
        are not read.
    mapping
        The mapping file; ``folder/mapping.toml`` where that exists and none is named. Without one,
        files (in a workbook, sheets) that carry a table's name and its column names are read.

    Returns
    -------
    Records
        One frame a table, ``.problems`` and ``.sources``.

    Raises
    ------
    MappingError
        The mapping or the crosswalk is wrong or does not fit the files, or no rubric declares the levels.
    IdentityError
        People are replaced by codes, and an identity was left in another cell.
    SourceFileError
        A file or a needed column is missing, a file is unreadable, or the rubrics have a fault.
    """
    place = Path(folder)
    plan = plan_of(place, mapping)
    told = trace.inputs(_mapping_file(place, mapping))
    if plan.identities is None:
        return replace(_load(place, plan), inputs=told)
    with local.held(place, plan.identities) as codes:
        loaded = local.without_identities(_load(place, plan, codes), plan.identities, codes)
    return replace(loaded, inputs=told)


def _load(place: Path, plan: Plan, codes: Codes | None = None) -> Records:
    problems = Problems()
    found = gather.gather(place, plan, problems)
    people = None if codes is None else of_folder((item.source for item in found), codes)
    for item in found:
        reshape.constants_fit(item.source)
    batches = {_SCALES: _sound_rubrics(found, plan, problems)}
    scales = levels.declared(batches[_SCALES])
    _ratings_fit(found, scales)
    known = levels.in_order(scales)
    for name in dictionary.tables():
        if name != _SCALES:
            batches[name] = _rows(name, found, problems, known, people)
            _check(name, batches, scales, problems)
    loaded = _records(found, batches, known, problems)
    return replace(loaded, crosswalk=crosswalk.read(place, loaded.rubrics), headings=trace.headings(batches))


def plan_of(folder: Path, named: str | Path | None = None) -> Plan:
    """Return what the mapping of a folder says, an empty plan where there is none."""
    path = _mapping_file(folder, named)
    if named is None and not path.exists() and not path.is_symlink():
        return Plan(mapping.FILE_NAME)
    return mapping.read(path)


def _mapping_file(folder: Path, named: str | Path | None) -> Path:
    return Path(named) if named is not None else folder / mapping.FILE_NAME


def _rows(
    name: str,
    found: Iterable[Found],
    problems: Problems,
    declared: tuple[str, ...],
    people: People | None,
) -> Batch | None:
    parts = [
        reshape.rows_of(item.sheet, item.source, problems, levels=declared, people=people)
        for item in found
        if item.source.table == name
    ]
    return keys.once(joined(parts), problems) if parts else None


def _sound_rubrics(found: list[Found], plan: Plan, problems: Problems) -> Batch | None:
    """Return the rubrics; a fault in them stops, for a scale with a level missing is another scale."""
    own = Problems()
    parts = [reshape.rows_of(item.sheet, item.source, own) for item in found if item.source.table == _SCALES]
    declared = levels.from_scales(plan)
    parts += [declared] if declared is not None else []
    rubrics = keys.once(joined(parts), own) if parts else None
    faults = own.frame()
    faults = faults[~faults["rule"].isin(["repeated_row", "skipped_rows"])]
    if len(faults):
        first = faults.iloc[0]
        more = f", and {len(faults) - 1} more faults" if len(faults) > 1 else ""
        sheet = f", sheet {first['sheet']!r}" if first["sheet"] else ""
        raise SourceFileError(
            f"the rubrics have a fault: {first['problem']}{more}",
            where=f"{first['file']}{sheet}, row {first['row']}, column {first['column']!r}",
            remedy=str(first["remedy"]),
        )
    problems.blocks += own.blocks
    return rubrics


def _ratings_fit(found: Iterable[Found], scales: Declared) -> None:
    sources = [item.source for item in found if dictionary.table(item.source.table).levels]
    if sources and not scales:
        raise MappingError(
            "no rubric is declared, so levels have no order",
            where=sources[0].where,
            remedy=f"Export the rubrics table, or write a [[scale]] block in {mapping.FILE_NAME}.",
        )
    for source in sources:
        levels.mapping_fits(source, scales)


def _check(name: str, batches: dict[str, Batch | None], scales: Declared, problems: Problems) -> None:
    batch = batches[name]
    if batch is None:
        return
    for field in batch.table.levels:
        levels.check(batch, scales, problems, field=field)
    for key in batch.table.foreign_keys:
        if key.table != _SCALES:
            keys.found(batch, key, batches[key.table], problems)
    dates.in_order(batch, problems)
    placements = batches.get("placements")
    if name == "observations" and placements is not None:
        dates.within_placement(batch, placements, problems)
    across.check(name, batches, problems)


def _records(
    found: Iterable[Found], batches: dict[str, Batch | None], order: tuple[str, ...], problems: Problems
) -> Records:
    tables = {
        name: frames.frame(dictionary.table(name), batches[name], order) for name in dictionary.tables()
    }
    told = causes.with_what_waits(problems.frame(), batches)
    return Records(tables=tables, problems=told, sources=_sources(found, batches))


def _sources(found: Iterable[Found], batches: dict[str, Batch | None]) -> pd.DataFrame:
    """Count what came of each source; rows are those of the table, so a wide form gives several."""
    sums = {item.sheet.file: item.sha256 for item in found}
    ragged = {(item.sheet.file, item.sheet.sheet): len(item.sheet.ragged) for item in found}
    lines = []
    for name, batch in batches.items():
        if batch is None:
            continue
        size = len(batch.origins)
        read = np.bincount(batch.origin, minlength=size)
        aside = np.bincount(batch.origin[batch.aside], minlength=size)
        for number, origin in enumerate(batch.origins):
            bent = ragged.get((origin.file, origin.sheet), 0)
            counts = (read[number] + bent, read[number] - aside[number], aside[number] + bent)
            lines.append((origin.file, origin.sheet, name, sums.get(origin.file, ""), *map(int, counts)))
    frame = pd.DataFrame(lines, columns=list(SOURCE_COLUMNS))
    texts, numbers = list(SOURCE_COLUMNS[:4]), list(SOURCE_COLUMNS[4:])
    frame = frame.astype(dict.fromkeys(texts, "str") | dict.fromkeys(numbers, "int64"))
    return frame.groupby(texts, sort=False, dropna=False, as_index=False, observed=True)[numbers].sum()


SOURCE_COLUMNS = ("file", "sheet", "table", "sha256", "rows_read", "rows_kept", "rows_set_aside")
