"""Where a report comes from: versions, inputs with checksums, seeds, rules, day of the run."""

from __future__ import annotations

import os
import platform
from collections.abc import Mapping
from datetime import UTC, date, datetime
from importlib import metadata

import pandas as pd

from mentorstats import __version__
from mentorstats.errors import ArgumentError
from mentorstats.policy import Policy
from mentorstats.report.model import Provenance

LIBRARIES = ("numpy", "pandas", "scipy", "statsmodels", "pyarrow", "matplotlib", "seaborn")


def of(inputs: pd.DataFrame, policy: Policy, *, seeds: Mapping[str, int]) -> Provenance:
    """Gather the provenance of a report.

    Parameters
    ----------
    inputs
        ``Records.sources``.
    policy
        Its rules that were asked for are printed: call this after the estimates.
    seeds
        What was drawn at random, and its seed.
    """
    versions = {"mentorstats": __version__, "Python": platform.python_version()}
    versions |= {name: metadata.version(name) for name in LIBRARIES}
    return Provenance(versions=versions, inputs=inputs, seeds=dict(seeds), rules=policy.used())


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
