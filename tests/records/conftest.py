"""A small programme, written to a folder in any of the formats that are read."""

import csv
import hashlib
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

LEVELS = ("support", "part", "reliable", "adapts")
CRITERIA = ("k7w2", "m3d9")

TABLES = {
    "placements": [
        ["placement", "candidate", "mentor", "supervisor", "site", "cohort", "start", "end", "status"],
        ["P1", "C1", "M1", "S1", "NA", "2026", "2026-01-05", "2026-05-29", "completed"],
        ["P2", "007", "M2", "S1", "north", "2026", "2026-01-05", "2026-05-29", "running"],
    ],
    "observations": [
        ["observation", "placement", "date", "minutes", "purpose", "pre_conference"],
        ["V1", "P1", "2026-01-12", "45", "both_teach", "yes"],
        ["V2", "P2", "2026-02-02", "50", "candidate_teaches", "no"],
    ],
    "ratings": [
        ["observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level"],
        ["V1", "M1", "mentor", "hearthside", "1", "k7w2", "reliable"],
        ["V1", "M1", "mentor", "hearthside", "1", "m3d9", "not_observed"],
        ["V1", "S1", "supervisor", "hearthside", "1", "k7w2", "part"],
        ["V2", "S1", "supervisor", "hearthside", "1", "k7w2", ""],
        ["V2", "S1", "supervisor", "hearthside", "1", "m3d9", "adapts"],
    ],
    "rubrics": [
        ["rubric", "version", "criterion", "level", "rank", "weight"],
        *(["hearthside", "1", c, level, str(i), "1"] for c in CRITERIA for i, level in enumerate(LEVELS, 1)),
    ],
    "raters": [
        ["rater", "role", "certified_on", "expires_on"],
        ["M1", "mentor", "2025-09-01", "2026-09-01"],
        ["S1", "supervisor", "2025-09-01", "2026-09-01"],
    ],
}


class Programme:
    """A folder of exports that a test writes, changes and loads."""

    def __init__(self, folder):
        self.folder = Path(folder)
        self.tables = {name: [list(row) for row in rows] for name, rows in TABLES.items()}

    def write(self, kind="csv"):
        if kind == "xlsx":
            self.workbook("export.xlsx", self.tables)
        for name, rows in self.tables.items():
            if kind == "csv":
                self.csv(f"{name}.csv", rows)
            elif kind == "parquet":
                columns = dict(zip(rows[0], map(list, zip(*rows[1:], strict=True)), strict=True))
                pq.write_table(pa.table(columns), self.folder / f"{name}.parquet")
        return self

    def csv(self, name, rows, encoding="utf-8", delimiter=","):
        with (self.folder / name).open("w", newline="", encoding=encoding) as out:
            csv.writer(out, delimiter=delimiter).writerows(rows)
        return self

    def workbook(self, name, sheets):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for title, rows in sheets.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(row)
        book.save(self.folder / name)
        return self

    def mapping(self, text):
        (self.folder / "mapping.toml").write_text(text, encoding="utf-8")
        return self

    def load(self, mapping=None):
        import mentorstats as ms

        return ms.load(self.folder, mapping)

    def checksums(self):
        files = sorted(path for path in self.folder.rglob("*") if path.is_file())
        return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.fixture
def programme(tmp_path):
    folder = tmp_path / "exports"
    folder.mkdir()
    return Programme(folder)
