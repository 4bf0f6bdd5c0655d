"""Progress of long work: on standard error, and only when that is a terminal."""

import sys
import time
from collections.abc import Iterable, Iterator, Sized
from contextlib import contextmanager
from typing import TypeVar

T = TypeVar("T")

_EVERY = 0.2  # seconds between two refreshes


def track(iterable: Iterable[T], label: str, *, total: int | None = None) -> Iterator[T]:
    """Yield from ``iterable``, showing how far it is.

    Parameters
    ----------
    iterable
        What is worked through.
    label
        What the work is, in a few words.
    total
        Number of items, where ``iterable`` does not know it.
    """
    if not sys.stderr.isatty():
        yield from iterable
        return
    if total is None and isinstance(iterable, Sized):
        total = len(iterable)
    begun = shown = time.monotonic()
    done = 0
    try:
        for done, item in enumerate(iterable, start=1):
            yield item
            now = time.monotonic()
            if now - shown >= _EVERY:
                shown = now
                of = f" of {total}" if total else ""
                print(f"\r{label}: {done}{of}, {now - begun:.0f} s", end="", file=sys.stderr, flush=True)
    finally:
        print(f"\r{label}: {done}, {time.monotonic() - begun:.1f} s\033[K", file=sys.stderr, flush=True)


@contextmanager
def stage(label: str) -> Iterator[None]:
    """Say what is being done while a block runs, and how long it took.

    Parameters
    ----------
    label
        What the work is, in a few words.
    """
    if not sys.stderr.isatty():
        yield
        return
    begun = time.monotonic()
    print(f"{label} …", end="", file=sys.stderr, flush=True)
    try:
        yield
    finally:
        print(f"\r{label}: {time.monotonic() - begun:.1f} s\033[K", file=sys.stderr, flush=True)
