"""A report's documents turned into bytes: one module a form.

A form is a module here with ``ENDING``, the ending of its files, and ``render``, which takes a document and
returns bytes; it is asked for by the module's name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module, util

from mentorstats.errors import ArgumentError
from mentorstats.report.blocks import Document

FORMS = ("page",)


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a report: the ending of its files, and what makes them."""

    name: str
    ending: str
    render: Callable[[Document], bytes]


def form(name: str) -> Form:
    """Return a form by name.

    Raises
    ------
    ArgumentError
        No form of that name.
    """
    if not name.isidentifier() or name not in FORMS or util.find_spec(f"{__name__}.{name}") is None:
        raise ArgumentError(f"no form {name!r} of a report", allowed=list(FORMS))
    module = import_module(f"{__name__}.{name}")
    return Form(name, module.ENDING, module.render)
