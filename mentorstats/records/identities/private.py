"""The folder outside the exports in which names and codes, and the key, stand: for its owner only."""

import csv
import io
import os
import secrets
import stat
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from mentorstats.errors import MappingError, SourceFileError
from mentorstats.records.mapping.identity_block import Identities
from mentorstats.writing import FORMULA, GUARD

CODES, KEY, CELLS = "codes.csv", "key.txt", "cells-with-identities.csv"
FAULTS, ODDITIES = "faults.csv", "oddities.csv"
_KEY_BYTES = 32


def place(exports: Path, identities: Identities) -> Path:
    """Return the folder that the mapping names, as seen from the exports.

    Raises MappingError where it lies among the exports, or they in it: whoever is given a report or the
    store would then be given the names.
    """
    home = exports.resolve()
    found = (home / Path(identities.folder).expanduser()).resolve()
    if found == home or home in found.parents or found in home.parents:
        raise MappingError(
            f"folder = {identities.folder!r} lies among the exports, or around them",
            where=identities.where,
            remedy='Name a folder beside them, such as "../codes-of-people".',
        )
    return found


def apart(private: Path, out: Path) -> None:
    """Raise MappingError where something that may be shared would be written to the private folder."""
    target = out.resolve()
    if target == private or private in target.parents:
        raise MappingError(
            "is in the folder with names and codes", where=str(out), remedy="Write to another folder."
        )


def made(folder: Path) -> Path:
    """Return the folder, made for its owner only where it is not there."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise SourceFileError(
            f"cannot be made: {error.strerror}", where=str(folder), remedy="Name another folder."
        ) from error
    return folder


def key(folder: Path) -> bytes:
    """Return the key of keyed codes; a new one is drawn where there is none."""
    path = folder / KEY
    content = _read(path)
    if content is None:
        _write(path, f"{secrets.token_hex(_KEY_BYTES)}\n".encode())
        content = _read(path) or b""
    try:
        found = bytes.fromhex(content.decode("ascii").strip())
    except (UnicodeDecodeError, ValueError):
        found = b""
    if len(found) < _KEY_BYTES:
        raise SourceFileError(
            "is no key",
            where=str(path),
            allowed=f"at least {2 * _KEY_BYTES} hexadecimal digits",
            remedy="Put the key back that was used before; with another one all codes change.",
        )
    return found


def read_rows(path: Path, columns: Sequence[str]) -> list[list[str]]:
    """Return the rows of a private CSV file, none where there is no file."""
    content = _read(path)
    if content is None:
        return []
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        rows = []
    rows = [row for row in rows if row]
    if not rows or rows[0] != list(columns) or any(len(row) != len(columns) for row in rows):
        raise SourceFileError(
            "is not as it was written",
            where=str(path),
            allowed=f"columns {', '.join(columns)}",
            remedy="Put back the file as it was; without it everybody gets a new code.",
        )
    return [[cell.removeprefix(GUARD) for cell in row] for row in rows[1:]]


def write_rows(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> Path:
    """Write a private CSV file; text that a spreadsheet would run is guarded by an apostrophe."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([_guarded(str(cell)) for cell in row] for row in rows)
    return _write(path, out.getvalue().encode("utf-8", "backslashreplace"))


def write_bytes(path: Path, content: bytes) -> Path:
    """Write a private file of any kind."""
    return _write(path, content)


def _guarded(text: str) -> str:
    return GUARD + text if text.startswith((*FORMULA, GUARD)) else text


def _read(path: Path) -> bytes | None:
    """Content of a file that only its owner may read, None where there is none."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SourceFileError(f"cannot be opened: {error.strerror}", where=str(path)) from error
    with os.fdopen(handle, "rb") as file:
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            raise SourceFileError("is not a file", where=str(path), remedy="Rename or remove it.")
        if os.name == "posix" and mode & 0o077:
            raise SourceFileError(
                "others than its owner may read or change it",
                where=str(path),
                remedy=f'Say: chmod 600 "{path}".',
            )
        return file.read()


def _write(path: Path, content: bytes) -> Path:
    """Write a file whole or not at all; it is its owner's alone from the first byte on."""
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.part-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.replace(beside, path)
        except OSError:
            os.unlink(beside)
            raise
    except OSError as error:
        raise SourceFileError(
            f"cannot be written: {error.strerror}",
            where=str(path),
            remedy="Free space, or name another folder under identities.",
        ) from error
    return path
