"""One thread for linear algebra while this package computes.

Fits factorise many small matrices. Threads then spend their time waiting for each other: on a busy machine
with two cores a generalizability study took 70 seconds with two threads, and one second with one. Sums are
also added in another order by another number of threads, so one thread gives the same bits everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from threading import Lock
from typing import Any

import numpy as np  # noqa: F401  # loads the linear algebra that is looked for
import scipy.linalg  # noqa: F401  # loads a copy of its own
from threadpoolctl import ThreadpoolController

_LOCK = Lock()
_held: dict[str, Any] = {"inside": 0, "limit": None}


@cache
def _controller() -> ThreadpoolController:
    """What numpy and scipy compute with; looking for it takes milliseconds, so it is done once."""
    return ThreadpoolController()


def _take_control() -> None:
    """Let this thread set the number; newer threadpoolctl lets only the thread do so that did it first."""
    for one in _controller().lib_controllers:
        clear = getattr(one, "clear_controlling_thread", None)
        if clear is not None:
            clear(force=True)


@contextmanager
def one_thread() -> Iterator[None]:
    """Compute on one thread, and give the process its own number of threads back afterwards.

    The number belongs to the whole process. Calls inside calls and calls from several Python threads at once
    are counted: the first one in sets the limit, and the last one out restores what the first one found.
    Other work that runs in the process meanwhile has one thread as well, and must not set another number.
    """
    with _LOCK:
        if not _held["inside"]:
            _take_control()
            _held["limit"] = _controller().limit(limits=1, user_api="blas")
        _held["inside"] += 1
    try:
        yield
    finally:
        with _LOCK:
            _held["inside"] -= 1
            if not _held["inside"]:
                _take_control()
                _held["limit"].restore_original_limits()
                _held["limit"] = None
                _take_control()
