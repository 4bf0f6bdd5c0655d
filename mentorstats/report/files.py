"""Write a file beside its place and rename it, so that nobody meets half of one."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from mentorstats.errors import ArgumentError


def write_beside(path: Path, content: bytes) -> Path:
    """Write bytes to a file, whole or not at all; its folder is made where it is missing.

    Raises
    ------
    ArgumentError
        The place cannot be written to.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as beside:
            beside.write(content)
        try:
            os.chmod(beside.name, 0o666 & ~_umask())
            os.replace(beside.name, path)
        except OSError:
            os.unlink(beside.name)
            raise
    except OSError as error:
        raise ArgumentError(
            f"cannot be written: {error.strerror}", where=str(path), remedy="Name another place with --out."
        ) from error
    return path


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now
