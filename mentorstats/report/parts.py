"""Sections from their modules: one that fails costs itself alone.

A section module has ``ABOUT``, a section with key, name and question and without an answer, and ``section``,
which builds it from results.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import ModuleType
from typing import Any

from mentorstats.estimate import Status
from mentorstats.report.model import Section

FAILED = "This section could not be made."
LOG = logging.getLogger("mentorstats")


def made(parts: Mapping[str, Mapping[ModuleType, Callable[[], tuple[Any, ...]]]]) -> tuple[Section, ...]:
    """Build sections in order.

    Parameters
    ----------
    parts
        Name of a part of the report to its section modules, each with a function that computes what its
        ``section`` is given. Whatever a section shares with others is computed once, when it is first asked
        for.

    Returns
    -------
    tuple of Section
        A section whose results or words fail has the defect in ``defect`` instead of an answer that holds.
    """
    return tuple(
        replace(_one(module, given), part=name)
        for name, modules in parts.items()
        for module, given in modules.items()
    )


def _one(module: ModuleType, given: Callable[[], tuple[Any, ...]]) -> Section:
    return contained(module.ABOUT, lambda: module.section(*given()))


def contained(about: Callable[[], Section], build: Callable[[], Section]) -> Section:
    """Build a section, or say in its place that it could not be made."""
    try:
        return build()
    except Exception as error:
        empty = about()
        LOG.debug("section %s failed", empty.key, exc_info=True)
        where = traceback.extract_tb(error.__traceback__)[-1]
        told = (
            f"{type(error).__name__}: {error} ({where.filename.rsplit('mentorstats', 1)[-1]}, {where.name})"
        )
        return replace(empty, answer=FAILED, status=Status.NOT_ASSESSED, defect=told)
