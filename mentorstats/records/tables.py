"""``Records``: what loading gives, and where it is kept between runs."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from mentorstats.errors import NothingUsableError
from mentorstats.printed import Printed, Shown, counted, counts
from mentorstats.records import crosswalk, long, oddities, overview, store

# What a row is, of tables that are not called after it.
_ROWS = {
    "rubrics": "rubric level",
    "teaching_load": "teaching week",
    "questions": "question count",
    "coteaching": "co-teaching arrangement",
    "tutoring": "tutoring score",
    "orientation": "orientation item",
}


@dataclass(frozen=True, eq=False, repr=False)
class Records(Shown):
    """Checked tables of a programme.

    Attributes
    ----------
    tables
        One frame a table of the data dictionary, by name, an empty one where nothing was given;
        each is also an attribute (``records.ratings``). The last three columns, ``file``, ``sheet``
        and ``row``, say where a row came from.
    problems
        One row a fault: problem, file, sheet, row (as a spreadsheet shows it; in CSV the line where
        the record starts), column, value, rule, effect (set_aside, notice), remedy.
    sources
        One row a file, sheet and table: its SHA-256, and rows of that table read, kept and set
        aside (read = kept + set aside; a wide form gives one row a criterion).
    crosswalk
        One row a pair of criteria or levels of two versions of a rubric that ``crosswalk.toml`` judges to be
        counterparts (see records/crosswalk.py).
    headings
        One row a field of a table and a block of the mapping: its heading (see records/trace.py).
    inputs
        Version of mentorstats, and SHA-256 of the data dictionary and the mapping, by name.
    """

    tables: Mapping[str, pd.DataFrame]
    problems: pd.DataFrame
    sources: pd.DataFrame
    crosswalk: pd.DataFrame = field(default_factory=crosswalk.empty)
    headings: pd.DataFrame = field(default_factory=pd.DataFrame)
    inputs: pd.DataFrame = field(default_factory=pd.DataFrame)

    def __getattr__(self, name: str) -> pd.DataFrame:
        tables = self.__dict__.get("tables", {})
        if name in tables:
            found: pd.DataFrame = tables[name]
            return found
        raise AttributeError(f"Records has no attribute {name!r}; tables: {', '.join(tables)}")

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        held = [
            (len(frame), _ROWS.get(name, name.replace("_", " ").removesuffix("s")))
            for name, frame in self.tables.items()
        ]
        read, aside = int(self.sources["rows_read"].sum()), int(self.sources["rows_set_aside"].sum())
        return Printed(
            title="Records of a programme",
            facts=(
                counts(held),
                f"{counted(read, 'row')} read from {counted(self.sources['file'].nunique(), 'file')}, "
                f"{aside:,} set aside",
                f"{counted(len(self.problems), 'fault')} found",
            ),
            ask=(".problems", ".long()", ".save(folder)", "ms.agreement.survey", "ms.calibration.survey"),
            people=True,
        )

    def long(self) -> pd.DataFrame:
        """Return one row a rating, joined to its lesson, placement and rank (see records/long.py)."""
        return long.long(
            *(self.tables[name] for name in ("ratings", "observations", "placements", "rubrics"))
        )

    def linked(self) -> pd.DataFrame:
        """Return the long table with ratings carried over to the newest version the crosswalk leads to.

        One column more, ``version_given``, says under which version each was rated. Without a crosswalk no
        rating is carried over.
        """
        return crosswalk.linked(self.long(), self.tables["rubrics"], self.crosswalk)

    def overview(self) -> pd.Series:
        """Return what was read, as text by name: files, rows, people, lessons, span, cycles, versions."""
        return overview.overview(self.tables, self.sources)

    def oddities(self) -> pd.DataFrame:
        """Return what looks odd without being wrong, columns as ``problems`` (see records/oddities.py)."""
        return oddities.oddities(self.tables, self.long())

    def require(self, *names: str) -> None:
        """Raise NothingUsableError where one of these tables has no usable row, saying what took them."""
        for name in names:
            if len(self.tables[name]):
                continue
            read = int(self.sources.loc[self.sources["table"] == name, "rows_read"].sum())
            if not read:
                raise NothingUsableError(f"there are no {name}", remedy=f"Export {name} too.")
            raise NothingUsableError(
                f"all {read} rows of {name} were set aside",
                where=", ".join(self.sources.loc[self.sources["table"] == name, "file"].unique()),
                remedy=f"Correct the {len(self.problems)} faults that `mentorstats check` lists.",
            )

    def save(self, folder: str | Path) -> None:
        """Write everything to ``folder/.mentorstats/`` as Parquet, replacing what was there."""
        beside = {name: getattr(self, name) for name in store.BESIDE}
        store.write(Path(folder), {**self.tables, **beside})


def reload(folder: str | Path) -> Records:
    """Return what ``Records.save`` wrote to a folder; raises SourceFileError where it is not readable."""
    frames = store.read(Path(folder))
    beside = {name: frames.pop(name) for name in store.BESIDE}
    return Records(tables=frames, **beside)
