"""Do values that should be codes of people look like their names? Said by column, never by value."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import pandas as pd

from mentorstats import dictionary
from mentorstats.errors import IdentityError

OPTION = "--names-are-codes"
COLUMNS = ("table", "file", "column", "n_values")

# Words that offices put before a letter or a number to make a code of it.
_OF_CODES = frozenset(
    """area candidate class coach code evaluator group intern mentor no number observer person placement rater
    resident school site student supervisor teacher team total trainee trainer unknown""".split()  # noqa: SIM905
)
_TITLES = frozenset(
    ("dr", "frau", "herr", "miss", "mme", "mr", "mrs", "ms", "mx", "prof", "professor", "sir")
)
_WORD = re.compile(r"[^\W\d_]+(?:[’'\-][^\W\d_]+)*\.?")
_MOSTLY = 0.5  # share of a column's values: single words with a capital may be codes, if they are not many


def found(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Columns of people, by the data dictionary, that hold what looks like names.

    Parameters
    ----------
    tables
        Tables of the records by name.

    Returns
    -------
    DataFrame
        ``COLUMNS``, a row a table, file and column: how many different values look like names.

    Notes
    -----
    A value looks like a name where it has a title, an @, a letter with an accent, or two words with a capital
    of which one is longer than a letter ("M. Quill", "Quill, Moss"). A single word with a capital does where
    at least half of the column's values are such words. Words for roles do not count, so that "Mentor A" is a
    code. It is a screen, common practice without a source: it finds most names, not all.
    """
    rows = []
    for name, table in tables.items():
        for field in dictionary.table(name).fields:
            if not field.person or field.name not in table or not len(table):
                continue
            for file, values in table.groupby("file", observed=True)[field.name]:
                n = looks_like_names(values.dropna().astype("str").unique())
                if n:
                    rows.append((name, str(file), field.name, n))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def refuse(tables: Mapping[str, pd.DataFrame]) -> None:
    """Raise IdentityError where a column of people holds names."""
    told = found(tables)
    if not len(told):
        return
    where = "; ".join(f"{row.file}, column {row.column}: {row.n_values}" for row in told.itertuples())
    raise IdentityError(
        f"values that should be codes look like names of people ({where})",
        remedy="To have each person replaced by a code, write [identities] in mapping.toml and below it "
        'folder = "../codes-of-people", where the list of names and codes is then kept. '
        f"If they are codes, say {OPTION}.",
    )


def looks_like_names(values: Iterable[str]) -> int:
    """How many of some different values look like names."""
    sure = single = n = 0
    for value in values:
        n += 1
        kind = _kind(value)
        sure += kind == 2
        single += kind == 1
    return sure + single if single >= _MOSTLY * n else sure


def is_name(value: str) -> bool:
    """Whether a value looks like a name by its form alone."""
    return _kind(value) == 2


def _kind(value: str) -> int:
    """2: a name by its form; 1: one word that may be a name; 0: a code."""
    if "@" in value:
        return 2
    words = [word for word in _WORD.findall(value) if word.casefold().rstrip(".") not in _OF_CODES]
    if not words:
        return 0
    if words[0].casefold().rstrip(".") in _TITLES and len(words) > 1:
        return 2
    capital = [word for word in words if word[0].isupper()]
    long = [word for word in capital if len(word.rstrip(".")) > 2 and not word.isupper()]
    if not long or any(mark.isdigit() for mark in value):
        return 0
    if len(capital) > 1 or not all(word.isascii() for word in long):
        return 2
    return 1 if len(words) == 1 and value.strip() == words[0] else 0
