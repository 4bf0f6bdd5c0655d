"""Did an identity slip through? Looked for in every text that would be kept, after people became codes."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary
from mentorstats.errors import IdentityError
from mentorstats.records.checking import names
from mentorstats.records.identities import private
from mentorstats.records.identities.known import Known, Mask
from mentorstats.records.mapping.identity_block import BLOCK, Identities

COLUMNS = ("file", "sheet", "row", "column", "value", "what")
HIDDEN = "(not shown: it names a person)"

_KEYS = ("placement", "observation", "recording")
_EMAIL = r"[^\s@]+@[^\s@]+\.[^\s@]"
_NUMBER = r"(?:^|[^\pL\pN])\pL?[0-9]{7,10}(?:$|[^\pL\pN])"  # a custom of the trade, no source
_NAMELIKE = r"\p{Lu}.*\pL{2}|@"
_SHOWN = 6

Rule = Callable[[pa.Array], Mask]


def refuse(tables: Mapping[str, pd.DataFrame], known: Known, identities: Identities, folder: Path) -> None:
    """Raise IdentityError where a text that would be kept holds an identity.

    Parameters
    ----------
    tables
        Checked tables whose people are codes.
    known
        The names that the codes stand for.
    identities
        The block of the mapping; fields under ``accept`` are not looked at.
    folder
        The private folder, into which the cells are written with what stands in them.

    Notes
    -----
    Looked for: e-mail addresses and known people in every text; in texts that are no keys also numbers of
    seven to ten digits; in keys of placements, lessons and recordings also what looks like a name. A screen,
    common practice without a source: it finds most, not all.
    """
    cells = pd.concat([_in_names_of_files(tables, known), *_in_tables(tables, known, identities)])
    path = folder / private.CELLS
    if cells.empty:
        path.unlink(missing_ok=True)
        return
    private.write_rows(path, COLUMNS, cells.itertuples(index=False))
    raise IdentityError(
        f"identities were left in {len(cells):,} cells: {'; '.join(_places(cells))}",
        remedy=f"Correct the cells or the mapping; {path} lists all with what stands there. If they name "
        f"nobody, say accept = [our names of the fields] under [{BLOCK}].",
    )


def _places(cells: pd.DataFrame) -> Iterable[str]:
    for file, sheet, row, column, _, what in cells.head(_SHOWN).astype("str").to_numpy():
        where = [file, f"sheet {sheet!r}" if sheet else "", f"row {row}" if row else "", column]
        yield f"{', '.join(part for part in where if part)} ({what})"
    if len(cells) > _SHOWN:
        yield f"and {len(cells) - _SHOWN:,} more"


def _in_tables(
    tables: Mapping[str, pd.DataFrame], known: Known, identities: Identities
) -> Iterable[pd.DataFrame]:
    for name, table in tables.items():
        if name == "rubrics" or table.empty:
            continue
        for field in dictionary.table(name).fields:
            plain = field.type == "string" and not field.categories and not field.person
            if plain and field.name not in identities.accept and field.name not in ("rubric", "criterion"):
                yield _in_column(table, field.name, known)


def _in_column(table: pd.DataFrame, name: str, known: Known) -> pd.DataFrame:
    codes, texts = pd.factorize(table[name])
    what = _judged(_array(texts), known, key=name in _KEYS)
    at = np.flatnonzero(np.append(what != "", False)[codes])  # a cell without a text has the code -1
    rows = table.iloc[at][["file", "sheet", "row", name]]
    found = rows.set_axis(["file", "sheet", "row", "value"], axis=1)
    cells: pd.DataFrame = found.assign(column=name, what=what[codes[at]])[list(COLUMNS)]
    return cells


def _array(distinct: Any) -> pa.Array:
    found = pa.array(distinct, pa.string())
    return found.combine_chunks() if isinstance(found, pa.ChunkedArray) else found


def _judged(texts: pa.Array, known: Known, *, key: bool) -> np.ndarray:
    """What each text seems to hold, "" for nothing."""
    rules: dict[str, Rule] = {
        "an e-mail address": lambda texts: _match(texts, _EMAIL),
        "a person of another column": known.found,
    }
    if key:
        rules["looks like a name"] = _like_names
    else:
        rules["a number like those of students"] = lambda texts: _match(texts, _NUMBER)
    what = np.full(len(texts), "", dtype=object)
    for said, rule in rules.items():
        what[rule(texts) & (what == "")] = said
    return what


def _match(texts: pa.Array, pattern: str) -> Mask:
    return np.asarray(
        pc.match_substring_regex(texts, pattern).to_numpy(zero_copy_only=False), dtype=bool
    ).copy()


def _like_names(texts: pa.Array) -> Mask:
    like = _match(texts, _NAMELIKE) & ~_match(texts, "[0-9]")
    at = np.flatnonzero(like)
    like[at] = [names.is_name(value) for value in texts.take(pa.array(at)).to_pylist()]
    return like


def _in_names_of_files(tables: Mapping[str, pd.DataFrame], known: Known) -> pd.DataFrame:
    """Names of files and sheets go into the store and on pages; a message cannot repeat them."""
    found = pd.concat([table[["file", "sheet"]] for table in tables.values()]).drop_duplicates()
    parts = []
    for part in ("file", "sheet"):
        texts = pd.Series(found[part].unique(), dtype="str")
        hit = texts[known.found(pa.array(texts, pa.string())) & (texts != "").to_numpy()]
        parts.append(
            pd.DataFrame(
                {
                    "file": f"the name of a {part}",
                    "sheet": "",
                    "row": "",
                    "column": "outside of its cells",
                    "value": hit,
                    "what": "a person of another column",
                }
            )
        )
    return pd.concat(parts)[list(COLUMNS)]


def hidden(problems: pd.DataFrame, known: Known) -> pd.DataFrame:
    """Return the faults without names: a person in a cell of another kind is not shown, only its place."""
    bad = {name: _names_somebody(problems[name], known) for name in ("problem", "value")}
    value = problems["value"].mask(bad["value"], HIDDEN)
    pairs = zip(problems["problem"], problems["value"], bad["value"], strict=True)
    told = [text.replace(found, HIDDEN) if hide else text for text, found, hide in pairs]
    problem = pd.Series(told, index=problems.index, dtype="str").mask(bad["problem"], HIDDEN)
    return problems.assign(problem=problem, value=value)


def _names_somebody(column: pd.Series, known: Known) -> Mask:
    codes, distinct = pd.factorize(column)
    texts = _array(distinct)
    bad: Mask = np.append(known.found(texts) | _match(texts, _EMAIL), False)
    return np.asarray(bad[codes])
