"""A report's documents turned into bytes: one module a form.

A form is a module here with ``ENDING``, the ending of its files, ``TOGETHER``, whether a report and its
appendix make one file, and ``render``, which takes the documents of one file and returns bytes; it is asked
for by the module's name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module, util

from mentorstats.errors import ArgumentError
from mentorstats.report.blocks import APPENDIX, FOLLOW_UP, PAGE, Document

FORMS = ("page", "workbook", "document")
DEFAULT = ("page",)


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a report: the ending of its files, which documents make one file, and what makes it."""

    name: str
    ending: str
    together: bool
    render: Callable[[Sequence[Document]], bytes]

    def file_names(self, report: str) -> list[str]:
        """Names of the files that a report may consist of in this form."""
        suffixes = (PAGE, FOLLOW_UP) if self.together else (PAGE, APPENDIX, FOLLOW_UP)
        return [f"{report}{suffix}.{self.ending}" for suffix in suffixes]

    def files(self, documents: Sequence[Document]) -> Iterator[tuple[str, bytes]]:
        """Name and content of each file; a follow-up sheet, not for passing on, is always its own."""
        own = [one for one in documents if one.suffix == FOLLOW_UP or not self.together]
        shared = [one for one in documents if one not in own]
        for group in [*([shared] if shared else []), *([one] for one in own)]:
            yield f"{group[0].name}.{self.ending}", self.render(group)


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
    return Form(name, module.ENDING, module.TOGETHER, module.render)
