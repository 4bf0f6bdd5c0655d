"""Which files of a folder the demo has written itself, so that it replaces those and no others.

A list beside them, `LIST`, has each file with its SHA-256. A run notes what it is about to write first, so
that one that was killed can be run again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from pathlib import Path

from mentorstats.errors import SourceFileError
from mentorstats.writing import write_beside

LIST = ".written-by-demo.json"
_FILES, _BEGUN = "files", "begun"


def write(folder: Path, files: Mapping[str, bytes], *, later: Collection[str] = ()) -> None:
    """Write files into a folder that holds nothing else, and remove those of an earlier run.

    Parameters
    ----------
    files
        Path below the folder, with ``/``, to content.
    later
        Paths of files that the caller will write afterwards; see `note`.

    Raises
    ------
    SourceFileError
        The folder holds a file that the demo did not write, or one that was changed since.
    """
    ours = _refuse_others(folder)
    _save(folder, ours, {*files, *later})
    for name in sorted({*ours} - {*files, *later}):
        (folder / name).unlink(missing_ok=True)
    for name, content in files.items():
        write_beside(folder / name, content)
    _save(folder, {name: _digest(content) for name, content in files.items()}, set(later))


def note(folder: Path, paths: Collection[Path]) -> None:
    """Put files that the caller has written on the list."""
    known, begun = _read(folder)
    names = {path.relative_to(folder).as_posix(): _sha256(path) for path in paths}
    _save(folder, known | names, begun - set(names))


def _refuse_others(folder: Path) -> dict[str, str]:
    """Return the files that an earlier run wrote; raise where there are others, at any depth."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise SourceFileError("is not a folder", where=str(folder), remedy="Name a new or an empty folder.")
    known, begun = _read(folder)
    for path in sorted(folder.rglob("*")) if folder.exists() else ():
        name = path.relative_to(folder).as_posix()
        if path.is_dir() and not path.is_symlink():
            continue
        if name == LIST or name in begun:
            continue
        if name not in known or path.is_symlink():
            raise SourceFileError(
                f"holds {name!r}, which the demo did not write",
                where=str(folder),
                remedy="Name a new or an empty folder.",
            )
        if _sha256(path) != known[name]:
            raise SourceFileError(
                f"{name!r} was changed since the demo wrote it",
                where=str(folder),
                remedy="Name a new folder, or move this file elsewhere.",
            )
    return {name: digest for name, digest in known.items() if (folder / name).exists()}


def _read(folder: Path) -> tuple[dict[str, str], set[str]]:
    """Files with their checksums, and files that a run was about to write; nothing without a sound list."""
    try:
        content = json.loads((folder / LIST).read_text(encoding="utf-8"))
        known = {str(name): str(digest) for name, digest in content[_FILES].items()}
        return known, {str(name) for name in content[_BEGUN]}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}, set()


def _save(folder: Path, known: Mapping[str, str], begun: Collection[str]) -> None:
    content = {_FILES: dict(sorted(known.items())), _BEGUN: sorted(begun)}
    write_beside(folder / LIST, json.dumps(content, indent=1, ensure_ascii=False).encode())


def _sha256(path: Path) -> str:
    return _digest(path.read_bytes())


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
