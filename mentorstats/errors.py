"""One tree of errors and warnings: what is wrong, where, what is allowed, what to do.

Every error knows the exit code of the command line: 2 for arguments, mapping, policy and files,
1 for records of which nothing usable is left.
"""

from collections.abc import Iterable


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
            allowed = ", ".join(str(item) for item in allowed)
        self.allowed = allowed
        self.remedy = remedy
        parts = [f"{where}: {what}" if where else what]
        if self.allowed:
            parts.append(f"Allowed: {self.allowed}")
        if remedy:
            parts.append(remedy)
        super().__init__(" ".join(part if part.endswith((".", "?", "!")) else f"{part}." for part in parts))


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
