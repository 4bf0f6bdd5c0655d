"""One run at a time: a lock file with its owner and age, taken over from the dead."""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from mentorstats.errors import SourceFileError

NAME = "lock"
_OLD = 3600.0  # seconds after which a lock of another machine counts as left behind
_WAIT = 60.0  # seconds to wait for another run
_AGAIN = 0.02  # seconds between two looks


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Hold the lock of a folder; wait for a living owner, take over from a dead one.

    Raises
    ------
    SourceFileError
        Another run holds it and does not let go.
    """
    path = folder / NAME
    begun = time.monotonic()
    while not _taken(path):
        if _left_behind(path):
            _remove(path)
        elif time.monotonic() - begun > _WAIT:
            raise SourceFileError(
                f"another run is writing here ({_owner(path)})",
                where=str(folder),
                remedy="Wait until it ends; delete the file lock if it is not there any more.",
            )
        else:
            time.sleep(_AGAIN)
    try:
        yield
    finally:
        _remove(path)


def _taken(path: Path) -> bool:
    mine = {"pid": os.getpid(), "host": socket.gethostname(), "started": _started(os.getpid())}
    own = path.with_name(f"{path.name}-{os.getpid()}-{time.monotonic_ns()}")
    own.write_text(json.dumps(mine), encoding="utf-8")
    try:
        os.link(own, path)  # fails where the lock is there already; never half a lock
    except FileExistsError:
        return False
    finally:
        _remove(own)
    return True


def _left_behind(path: Path) -> bool:
    """Whether the owner has ended: on this machine by its process, on another by the age of the lock."""
    try:
        owner = json.loads(path.read_text(encoding="utf-8"))
        age = time.time() - path.stat().st_mtime
    except FileNotFoundError:
        return False
    except (OSError, ValueError):
        return True
    if owner.get("host") != socket.gethostname():
        return bool(age > _OLD)
    return bool(_started(int(owner.get("pid", -1))) != owner.get("started"))


def _started(pid: int) -> str:
    """When a process began, in the kernel's own count; empty where it has ended, ``alive`` where unknown."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[19]
    except (OSError, IndexError):
        if Path("/proc/self/stat").exists():
            return ""
    try:
        os.kill(pid, 0)
    except PermissionError:
        return "alive"
    except (OSError, ValueError, OverflowError):
        return ""
    return "alive"


def _owner(path: Path) -> str:
    try:
        owner = json.loads(path.read_text(encoding="utf-8"))
        minutes = (time.time() - path.stat().st_mtime) / 60
    except (OSError, ValueError):
        return "owner unknown"
    return f"process {owner.get('pid')} on {owner.get('host')}, for {minutes:.0f} minutes"


def _remove(path: Path) -> None:
    path.unlink(missing_ok=True)
