"""One tree of errors and warnings: what is wrong, where, what is allowed, what to do.

Every error knows the exit code of the command line: 2 for arguments, mapping, policy and files,
1 for records of which nothing usable is left, and for what would give people away.
"""

import unicodedata
from collections.abc import Iterable

_LONGEST = 500  # characters of each part of a message
_LISTED = 12  # allowed values that a message names
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # categories that move, turn round or hide what stands beside them


def printable(text: str) -> str:
    """The text with control characters and direction marks written out; lines and tabs are kept."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        mark if mark in "\n\t" or unicodedata.category(mark) not in _UNSEEN else _code(mark) for mark in text
    )


def _code(mark: str) -> str:
    return mark.encode("unicode_escape", "surrogatepass").decode("ascii")


def shortened(text: str, most: int = _LONGEST) -> str:
    """The text on one line, its middle left out where it is longer than ``most`` characters."""
    line = printable(" ".join(text.split("\n")))
    if len(line) <= most:
        return line
    half = (most - 3) // 2
    return f"{line[:half]} … {line[-half:]}"


def nearest(name: object, known: Iterable[object]) -> str:
    """The known name most like this one, or "" where none is like it."""
    from difflib import get_close_matches

    if not isinstance(name, str) or len(name) > _LONGEST:
        return ""
    lowered = {str(item).casefold(): str(item) for item in known}
    found = get_close_matches(name.casefold(), list(lowered), n=1, cutoff=0.6)
    return lowered[found[0]] if found else ""


class MentorstatsError(Exception):
    """Root of every error this package raises on purpose."""

    exit_code = 2

    def __init__(
        self,
        what: str,
        *,
        where: str | None = None,
        allowed: Iterable[object] | str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.what = what
        self.where = where
        if allowed is not None and not isinstance(allowed, str):
            allowed = _listed([str(item) for item in allowed])
        self.allowed = allowed
        self.remedy = remedy
        parts = [shortened(f"{where}: {what}" if where else what)]
        if self.allowed:
            parts.append(shortened(f"Allowed: {self.allowed}"))
        if remedy:
            parts.append(shortened(remedy))
        super().__init__(" ".join(part if part.endswith((".", "?", "!")) else f"{part}." for part in parts))


def _listed(items: list[str]) -> str:
    """Allowed values, the first ones where there are many."""
    if len(items) <= _LISTED:
        return ", ".join(items)
    return f"{', '.join(items[:_LISTED])} and {len(items) - _LISTED:,} more"


class ArgumentError(MentorstatsError, ValueError):
    """An argument of a function or a command is wrong."""


class ColumnError(ArgumentError):
    """A named column is not in the table."""


class DuplicateRatingError(ArgumentError):
    """The same rater rated the same unit twice."""


class ModelError(ArgumentError):
    """A model cannot be declared as asked."""


class DictionaryError(MentorstatsError):
    """A descriptor in the data dictionary is not legal."""


class PolicyError(MentorstatsError):
    """A policy file is wrong, or a rule that is asked for is not in force."""


class MappingError(MentorstatsError):
    """``mapping.toml`` is wrong, or does not fit the files beside it."""


class SourceFileError(MentorstatsError):
    """A file is missing, unreadable, encrypted, or not of a kind that can be read."""


class NothingUsableError(MentorstatsError):
    """Records were read, and nothing usable is left of them."""

    exit_code = 1


class IdentityError(MentorstatsError):
    """Values that should be codes of people look like their names."""

    exit_code = 1


class DisclosureError(MentorstatsError):
    """Something about few people could be worked out from what would be published."""

    exit_code = 1


class AnalysisError(MentorstatsError):
    """An analysis is unknown, or does not keep to the form of an analysis."""


class MentorstatsWarning(UserWarning):
    """Root of every warning this package gives."""


def need_columns(
    columns: Iterable[object],
    wanted: Iterable[str],
    *,
    where: str,
    remedy: str = "Name a column that the table has.",
) -> None:
    """Raise ColumnError when one of ``wanted`` is not among ``columns``."""
    present = list(columns)
    missing = [name for name in wanted if name not in present]
    if missing:
        raise ColumnError(
            f"no column {', '.join(repr(name) for name in missing)}",
            where=where,
            allowed=present,
            remedy=remedy,
        )
