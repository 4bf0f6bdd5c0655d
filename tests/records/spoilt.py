"""Spoilt exports, mappings, policies and studies, and what loading makes of them.

A case writes a small programme in one of four forms, spoils one to three things in it, and loads the folder.
A result or an error of the package is a legal outcome, anything else a failure; so is a case that is slow or
large, an input row that is neither in a table nor among the problems, and a changed input file.

Run: ``python tests/records/spoilt.py`` writes tests/records/spoilt.csv from the full run.
"""

import copy
import csv
import hashlib
import io
import os
import resource
import shutil
import tempfile
import time
import traceback
import unicodedata
import warnings
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import xlsxwriter

import mentorstats as ms
from mentorstats import policy
from mentorstats.declared import study
from mentorstats.errors import MentorstatsError

SEED = 4711
PLAIN, FULL = 2_000, 20_000
SLOWEST, LARGEST = 10.0, 2**30  # seconds of the processor, bytes
TABLE = Path(__file__).with_suffix(".csv")

UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # what moves, turns round or hides text beside it
LEVELS = ("help", "part", "steady", "lead")
CRITERIA = ("k7w2", "m3d9")


# A small programme ---------------------------------------------------------------------------------


def tables():
    """Each table as rows of text, the headings first."""
    lessons = [[f"V{i}", f"P{i % 4}", f"2026-0{1 + i % 5}-{10 + i}"] for i in range(8)]
    ratings = [
        [lesson, rater, role, "hearthside", "1", criterion, LEVELS[(i + len(rater)) % 4]]
        for i, (lesson, *_) in enumerate(lessons)
        for rater, role in ((f"M{i % 4 % 3}", "mentor"), ("S1", "supervisor"))
        for criterion in CRITERIA
    ]
    return {
        "placements": [
            ["placement", "candidate", "mentor", "supervisor", "site", "cohort", "start", "end", "status"],
            *(
                [f"P{i}", f"C{i}", f"M{i % 3}", "S1", "north", "2026", "2026-01-05", "2026-06-29", "running"]
                for i in range(4)
            ),
        ],
        "observations": [["observation", "placement", "date", "minutes"], *([*one, "45"] for one in lessons)],
        "ratings": [
            ["observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level"],
            *ratings,
        ],
        "rubrics": [
            ["rubric", "version", "criterion", "level", "rank", "weight"],
            *(
                ["hearthside", "1", criterion, level, str(rank), "1"]
                for criterion in CRITERIA
                for rank, level in enumerate(LEVELS, 1)
            ),
        ],
        "raters": [
            ["rater", "role", "certified_on"],
            ["S1", "supervisor", "2025-09-01"],
            *([f"M{i}", "mentor", "2025-09-01"] for i in range(3)),
        ],
    }


MAPPING = """
[[source]]
file = "forms.csv"
table = "ratings"
dates = ["%Y-%m-%d"]
[source.columns]
observation = "observation"
rater = "rater"
rater_role = "rater_role"
criterion = "criterion"
level = "level"
[source.constants]
rubric = "hearthside"
rubric_version = "1"
[source.levels]
"help" = "help"
"Part" = "part"

[[source]]
file = "placements.csv"
table = "placements"
[source.columns]
placement = "placement"
candidate = "candidate"

[[source]]
file = "observations.csv"
table = "observations"
[source.columns]
observation = "observation"
placement = "placement"
date = "date"

[[scale]]
rubric = "hearthside"
version = "1"
levels = ["help", "part", "steady", "lead"]
criteria = ["k7w2", "m3d9"]
"""
POLICY = """
minimum_group_size = 20
confidence = 0.9
[[rule]]
id = "minimum_group_size_outside"
value = 20
inequality = ">="
unit = "people"
source = "programme decision"
kind = "convention"
effective_from = 2026-01-01
"""
STUDY = 'raters_meant = "Mentors and supervisors"\nsampling = "All lessons of one term"\n'


# What is done to it ----------------------------------------------------------------------------------

CELLS = (
    *("", " ", "NA", "n/a", "-", "0", "007", "1e5", "-1", "3,5", "1.234,5", "inf", "nan", "None", "TRUE"),
    *("#REF!", "=cmd|' /C calc'!A0", "+1", "@x", "\t", "\r\n", '"', "a,b", "a;b", "two\nlines", "\x00"),
    *("\x1b[31m", "\u202e", "2026-02-30", "31/12/2026", "12/31/2026", "3/4/2026", "2026-01-01T00:00:00Z"),
    *("45678", "9999-12-31", "0001-01-01", "Étoile", "ﬁ", "é", "\ud7ff", "😀", "x" * 40_000, "P0", "V0"),
    *("S1", "lead", "Lead ", "LEAD", "lëad", "trainer"),
)
VALUES = (
    *('""', '"."', '"**x"', '"' + "x" * 300 + '"', "[]", "[1]", '["%d/%m/%Y %d"]', '["%Q"]', "true", "5"),
    *("-1", "nan", "1e400", "9" * 5000, "{}", "{ a = 1 }", "[[[[[[[]]]]]]]", "2026-01-01", '"abc"'),
    *('"utf-7"', '"punycode"', '"ratings"', '"\\u0000"', '"../ratings.csv"', '"="', '["k7w2"]'),
    "'''\n'''",
)
BYTES = (b"\x00", b'"', b"\xff\xfe", b"\r", b"\x80", b"\xef\xbb\xbf", b";", b"\n\n", b"PK\x03\x04", b"'")
LINES = (b"[[source]]", b"[scale]", b"x = 1", b"rows = 3", b"[source.values.rank]", b"[a.b.c]", b"]]")


def _of(rng, choices):
    return choices[int(rng.integers(len(choices)))]


def _some_rows(rng, given, name=None):
    name = name or _of(rng, sorted(given))
    rows = given[name]
    return name, rows, int(rng.integers(1, len(rows))) if len(rows) > 1 else 0


def cell(rng, given):
    _, rows, at = _some_rows(rng, given)
    if rows[at]:
        rows[at][int(rng.integers(len(rows[at])))] = _of(rng, CELLS)


def column(rng, given):
    _, rows, _ = _some_rows(rng, given)
    at, value = int(rng.integers(len(rows[0]))), _of(rng, CELLS)
    for row in rows[1:]:
        row[at : at + 1] = [value]


def cells_swapped(rng, given):
    _, rows, at = _some_rows(rng, given)
    _, others, there = _some_rows(rng, given)
    if rows[at] and others[there]:
        i, j = int(rng.integers(len(rows[at]))), int(rng.integers(len(others[there])))
        rows[at][i], others[there][j] = others[there][j], rows[at][i]


def row_twice(rng, given):
    _, rows, at = _some_rows(rng, given)
    rows.insert(int(rng.integers(1, len(rows) + 1)), list(rows[at]))


def row_empty(rng, given):
    _, rows, at = _some_rows(rng, given)
    rows.insert(max(at, 1), [""] * len(rows[0]))


def rows_gone(rng, given):
    _, rows, at = _some_rows(rng, given)
    del rows[max(at, 1) :]


def rows_shuffled(rng, given):
    _, rows, _ = _some_rows(rng, given)
    rows[1:] = [rows[i] for i in 1 + rng.permutation(len(rows) - 1)]


def totals(rng, given):
    _, rows, _ = _some_rows(rng, given)
    rows.append(["Total", *[str(len(rows))] * (len(rows[0]) - 1)])


def heading(rng, given):
    _, rows, _ = _some_rows(rng, given)
    rows[0][int(rng.integers(len(rows[0])))] = _of(rng, (*CELLS, *rows[0], "x" * 200_000))


def column_gone(rng, given):
    _, rows, _ = _some_rows(rng, given)
    at = int(rng.integers(len(rows[0])))
    for row in rows:
        del row[at : at + 1]


def column_twice(rng, given):
    _, rows, _ = _some_rows(rng, given)
    at = int(rng.integers(len(rows[0])))
    for row in rows:
        row.append(row[at] if at < len(row) else "")


def title_row(rng, given):
    _, rows, _ = _some_rows(rng, given)
    rows.insert(0, ["Export of the office", *[""] * (len(rows[0]) - 1)])


def table_gone(rng, given):
    if len(given) > 1:
        del given[_of(rng, sorted(given))]


IN_TABLES = (cell, cell, cell, column, cells_swapped, row_twice, row_empty, rows_gone, rows_shuffled)
IN_TABLES += (totals, heading, column_gone, column_twice, title_row, table_gone)


def ragged(rng, data):
    lines = data.split(b"\n")
    at = int(rng.integers(len(lines)))
    lines[at] = lines[at] + b",more" if rng.random() < 0.5 else lines[at].rpartition(b",")[0]
    return b"\n".join(lines)


def truncated(rng, data):
    return data[: int(rng.integers(len(data) + 1))]


def bits_flipped(rng, data):
    found = bytearray(data)
    for at in rng.integers(len(found), size=int(rng.integers(1, 6))) if found else ():
        found[at] ^= 1 << int(rng.integers(8))
    return bytes(found)


def bytes_put_in(rng, data):
    at = int(rng.integers(len(data) + 1))
    more = _of(
        rng, (b"\x00", b'"', b"\xff\xfe", b"\r", b"\x80", b"\xef\xbb\xbf", b";", b"\n\n", b"PK\x03\x04", b"'")
    )
    return data[:at] + more * int(rng.integers(1, 4)) + data[at:]


def encoded_otherwise(rng, data):
    text = data.decode("utf-8", "replace").replace("north", "nørth")
    return text.encode(_of(rng, ("utf-16", "utf-8-sig", "latin-1", "utf-32", "utf-7", "cp1252")), "replace")


def emptied(rng, data):
    return b""


IN_BYTES = (ragged, truncated, bits_flipped, bits_flipped, bytes_put_in, encoded_otherwise, emptied)


def value_put_in(rng, data):
    lines = data.decode().split("\n")
    at = [i for i, line in enumerate(lines) if "=" in line]
    if at:
        i = _of(rng, at)
        lines[i] = f"{lines[i].partition('=')[0]}= {_of(rng, VALUES)}"
    return "\n".join(lines).encode()


def line_gone(rng, data):
    lines = data.split(b"\n")
    del lines[int(rng.integers(len(lines)))]
    return b"\n".join(lines)


def line_twice(rng, data):
    lines = data.split(b"\n")
    at = int(rng.integers(len(lines)))
    return b"\n".join([*lines[: at + 1], *lines[at:]])


def line_put_in(rng, data):
    lines = data.split(b"\n")
    at = int(rng.integers(len(lines)))
    return b"\n".join([*lines[:at], _of(rng, LINES), *lines[at:]])


IN_TOML = (value_put_in, value_put_in, value_put_in, line_gone, line_twice, line_put_in, bits_flipped)
IN_TOML += (truncated,)


def put_there(rng, folder):
    """Something in the folder that is no export, or looks like one."""
    kind = int(rng.integers(7))
    if kind == 0:
        (folder / "ratings.xlsx").mkdir(exist_ok=True)
    elif kind == 1 and not (folder / "notes.csv").is_symlink():
        os.symlink(folder / "nowhere.csv", folder / "notes.csv")
    elif kind == 2:
        (folder / "~$ratings.xlsx").write_bytes(b"x")
    elif kind == 3:
        os.makedirs(folder / "mapping.toml", exist_ok=True) if not (
            folder / "mapping.toml"
        ).exists() else None
    elif kind == 4:
        Path(os.fsdecode(os.fsencode(folder) + b"/ratings\xff.csv")).write_bytes(b"a,b\n1,2\n")
    elif kind == 5:
        (folder / "ratings.parquet").write_bytes(b"PAR1")
    else:
        shutil.copyfile(Path(__file__), folder / "readme.txt")


# Cases ---------------------------------------------------------------------------------------------------


def _as_csv(rows):
    out = io.StringIO(newline="")
    csv.writer(out).writerows(rows)
    return out.getvalue().encode("utf-8", "surrogatepass")


def _as_workbook(given):
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        for title, rows in given.items():
            sheet = book.add_worksheet(title)
            for i, row in enumerate(rows):
                for j, value in enumerate(row):
                    sheet.write_string(i, j, value[:32_000])
    return out.getvalue()


def _as_parquet(rows):
    names = [f"{name}_{j}" if name in rows[0][:j] else name for j, name in enumerate(rows[0])]
    columns = {name: [row[j] if j < len(row) else "" for row in rows[1:]] for j, name in enumerate(names)}
    out = io.BytesIO()
    pq.write_table(pa.table({k: pa.array(v, pa.string()) for k, v in columns.items()}), out)
    return out.getvalue()


def files(form, given):
    """Contents of each file by name."""
    if form == "workbook" and given:
        return {"export.xlsx": _as_workbook(given)}
    if form == "parquet":
        return {f"{name}.parquet": _as_parquet(rows) for name, rows in given.items()}
    made = {f"{name}.csv": _as_csv(rows) for name, rows in given.items()}
    if form == "mapped":
        made["forms.csv"] = made.pop("ratings.csv", b"")
        made.pop("rubrics.csv", None)
        made["mapping.toml"] = MAPPING.encode()
    return made


@dataclass(frozen=True)
class Case:
    """What a case was and how it ended."""

    number: int
    form: str
    how: str
    outcome: str
    seconds: float
    failure: str = ""


def write(number, folder):
    """Write the exports of a case; gives its form, what was spoilt, and the tables if rows can be counted."""
    rng = np.random.default_rng([SEED, number])
    form, given, done = _of(rng, ("csv", "workbook", "parquet", "mapped", "mapped")), tables(), []
    where = _of(rng, ("tables", "tables", "bytes", "toml", "folder"))
    if where == "tables":
        for _ in range(int(rng.integers(1, 4))):
            spoil = _of(rng, IN_TABLES)
            spoil(rng, given)
            done.append(spoil.__name__)
    made = files(form, copy.deepcopy(given))
    made["policy.toml"], made["study.toml"] = POLICY.encode(), STUDY.encode()
    settings = [name for name in sorted(made) if name.endswith(".toml")]
    if where in ("bytes", "toml"):
        names = settings if where == "toml" else [name for name in sorted(made) if name not in settings]
        for _ in range(int(rng.integers(1, 3))):
            name, spoil = _of(rng, names), _of(rng, IN_TOML if where == "toml" else IN_BYTES)
            try:
                made[name] = spoil(rng, made[name])
            except UnicodeDecodeError:
                continue
            done.append(spoil.__name__)
    for name, data in made.items():
        (folder / name).write_bytes(data)
    if where == "folder":
        put_there(rng, folder)
        done.append("put_there")
    return form, "+".join(sorted(set(done))), given if where == "tables" else None


def case(number):
    """Run one case; the same number gives the same case."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        form, how, given = write(number, folder)
        before, begun, failure = _sums(folder), time.process_time(), ""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                found = ms.load(folder)
                found.long()
                policy.read(folder)
                study.read(folder)
            outcome = "loaded, with faults" if len(found.problems) else "loaded"
            failure = _lost(found, given, form) if given is not None else ""
        except MentorstatsError as error:
            outcome = type(error).__name__
            said = str(error)
            if len(said) > 3_000 or any(unicodedata.category(mark) in UNSEEN for mark in said):
                failure = f"a message of {len(said)} characters, or one with control characters"
        except Exception as error:  # noqa: BLE001  # what the cases look for
            outcome, failure = type(error).__name__, traceback.format_exc()
        seconds = time.process_time() - begun
        if seconds > SLOWEST:
            failure = f"{failure}\ntook {seconds:.1f} s"
        if _sums(folder) != before:
            failure = f"{failure}\nan input was changed"
    return Case(number, form, how, outcome, seconds, failure)


def _sums(folder):
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.iterdir()
        if path.is_file()
    }


def _lost(found, given, form):
    """Rows that are neither in a table nor among the problems."""
    lost = []
    for name, rows in given.items():
        if form == "mapped" and name in ("rubrics", "raters"):
            continue  # the mapping names no such file
        file = {"workbook": "export.xlsx", "parquet": f"{name}.parquet"}.get(form, f"{name}.csv")
        file = "forms.csv" if form == "mapped" and name == "ratings" else file
        kept = found.tables[name]
        told = found.problems[found.problems["file"] == file]
        if form == "workbook":
            told = told[(told["sheet"] == name) | (told["sheet"] == "")]
        if told["row"].isna().any():
            continue  # the whole file or sheet is told
        known = set(kept["row"]) | set(told["row"])
        lost += [f"{name} row {at}" for at in _lines(rows, form) if at not in known]
    return f"neither kept nor told: {', '.join(lost)}" if lost else ""


def _lines(rows, form):
    """Row numbers of data rows that hold something, as the reader of the form counts them."""
    at, found = 1, []
    for i, row in enumerate(rows):
        shown = [value.strip() for value in row]
        if i and any(shown):
            found.append(at if form in ("csv", "mapped") else i + 1)
        at += _as_csv([row]).decode("utf-8", "replace").count("\n")
    return found


def run(numbers):
    """Run cases; one that takes the process beyond a gigabyte is a failure of that case."""
    at_start, found = _peak(), []
    for number in numbers:
        one = case(number)
        if _peak() - at_start > LARGEST:
            one = Case(one.number, one.form, one.how, one.outcome, one.seconds, "took over a gigabyte")
            at_start = _peak()
        found.append(one)
    return found


def _peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def counted(cases):
    """Outcomes by form of the exports and the first thing that was spoilt."""
    counts = Counter((one.form, one.how.partition("+")[0], one.outcome) for one in cases)
    table = pd.Series(counts).unstack(fill_value=0).astype(int).sort_index()
    table.insert(0, "cases", table.sum(axis=1))
    return table.rename_axis(["form", "spoilt"])


if __name__ == "__main__":
    everything = run(range(FULL))
    counted(everything).to_csv(TABLE)
    for one in everything:
        if one.failure:
            print(one.number, one.form, one.how, one.failure, sep="\n", end="\n\n")
