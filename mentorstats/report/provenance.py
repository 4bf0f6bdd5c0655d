"""Where a report comes from: versions, inputs with checksums, seeds, rules, day of the run."""

from __future__ import annotations

import os
import platform
from collections.abc import Mapping
from datetime import UTC, date, datetime
from importlib import metadata
from pathlib import Path

import pandas as pd

from mentorstats import __version__, policy
from mentorstats.declared import study
from mentorstats.errors import ArgumentError
from mentorstats.policy import Policy
from mentorstats.records import crosswalk, mapping
from mentorstats.records.reading.read import checksum
from mentorstats.report.model import Provenance

LIBRARIES = ("numpy", "pandas", "scipy", "statsmodels", "pyarrow", "matplotlib", "seaborn")


def of(inputs: pd.DataFrame, rules: Policy, *, seeds: Mapping[str, int]) -> Provenance:
    """Gather the provenance of a report.

    Parameters
    ----------
    inputs
        ``Records.sources``.
    rules
        The policy; those of its rules that were asked for are printed: call this after the estimates.
    seeds
        What was drawn at random, and its seed.
    """
    versions = {"mentorstats": __version__, "Python": platform.python_version()}
    versions |= {name: metadata.version(name) for name in LIBRARIES}
    return Provenance(versions=versions, inputs=inputs, seeds=dict(seeds), rules=rules.used())


def settings(folder: Path) -> dict[str, str]:
    """SHA-256 of the mapping, the crosswalk, the policy and the study that lie in a programme's folder."""
    files = [
        folder / name for name in (mapping.FILE_NAME, crosswalk.FILE_NAME, policy.FILE_NAME, study.FILE_NAME)
    ]
    return {path.name: checksum(path) for path in files if path.is_file()}


def day(asked: str | None = None) -> str:
    """Day of the run, ISO 8601: the one asked for, else ``SOURCE_DATE_EPOCH``, else today.

    Raises
    ------
    ArgumentError
        Neither a day like 2026-09-01 nor a number of seconds.
    """
    if asked is not None:
        try:
            return date.fromisoformat(asked).isoformat()
        except ValueError:
            raise ArgumentError(f"{asked!r} is not a day", allowed="a day like 2026-09-01") from None
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return date.today().isoformat()
    if not epoch.isdecimal():
        raise ArgumentError(
            f"{epoch!r} is not a number of seconds", where="SOURCE_DATE_EPOCH", remedy="Correct or unset it."
        )
    return datetime.fromtimestamp(int(epoch), tz=UTC).date().isoformat()
