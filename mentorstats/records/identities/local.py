"""What is done with identities around a load, and the lists with names that stay in the private folder."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pandas as pd

from mentorstats import dictionary
from mentorstats.records import lock
from mentorstats.records.identities import codes as code_list
from mentorstats.records.identities import private, screen, weeks
from mentorstats.records.identities.codes import PATTERN, Codes
from mentorstats.records.identities.known import known
from mentorstats.records.mapping import Identities
from mentorstats.records.problems import COLUMNS
from mentorstats.records.tables import Records

_SHORT = 3  # letters, below which a name is in every other word


@contextmanager
def held(exports: Path, identities: Identities) -> Iterator[Codes]:
    """Hold the private folder while people get their codes, so that two runs give nobody two."""
    folder = private.made(private.place(exports, identities))
    with lock.held(folder):
        yield code_list.read(folder, identities)


def without_identities(loaded: Records, identities: Identities, codes: Codes) -> Records:
    """Return records in which nothing names a person; faults with names go to the private folder.

    Raises IdentityError where an identity was left in a cell that would be kept.
    """
    codes.save()
    names = known(codes.names.values())
    _write(codes, loaded.problems, private.FAULTS)
    screen.refuse(loaded.tables, names, identities, codes.folder)
    tables = weeks.coarsened(loaded.tables) if identities.weeks else loaded.tables
    return replace(loaded, tables=tables, problems=screen.hidden(loaded.problems, names))


def oddities(loaded: Records, exports: Path, identities: Identities) -> tuple[pd.DataFrame, Path]:
    """Return what looks odd, judged by the names but told by code, and the folder that tells it by name.

    Names that differ in a dot cannot be seen in codes, so they are put back for the time of the look.
    """
    with held(exports, identities) as codes:
        named = {name: _named(name, table, codes) for name, table in loaded.tables.items()}
        odd = replace(loaded, tables=named).oddities()
        _write(codes, odd, private.ODDITIES)
    told = odd.assign(
        problem=_with_codes(
            odd["problem"], {repr(name): repr(code) for name, code in codes.by_written.items()}
        ),
        value=_with_codes(odd["value"], codes.by_written),
    )
    return screen.hidden(told, known(codes.names.values())), codes.folder


def _with_codes(texts: pd.Series, codes: Mapping[str, str]) -> pd.Series:
    """Texts with a code in place of each name, longer names first; a short name only where it is all."""
    by_length = sorted((name for name in codes if len(name) >= _SHORT), key=len, reverse=True)

    def coded(text: str) -> str:
        if text in codes:
            return codes[text]
        for name in by_length:
            text = text.replace(name, codes[name])
        return text

    return texts.map(coded)


def _named(name: str, table: pd.DataFrame, codes: Codes) -> pd.DataFrame:
    people = [field.name for field in dictionary.table(name).fields if field.person]
    return table.assign(**{field: table[field].map(codes.names).astype("str") for field in people})


def _with_names(problems: pd.DataFrame, codes: Codes) -> pd.DataFrame:
    """Faults with a name in place of each code."""

    def name(found: re.Match[str]) -> str:
        return codes.names.get(found.group(), found.group())

    columns = ("problem", "value")
    return problems.assign(
        **{column: problems[column].str.replace(PATTERN, name, regex=True) for column in columns}
    )


def _write(codes: Codes, problems: pd.DataFrame, name: str) -> None:
    rows = _with_names(problems, codes)[list(COLUMNS)].astype("str").fillna("")
    private.write_rows(codes.folder / name, COLUMNS, rows.itertuples(index=False))
