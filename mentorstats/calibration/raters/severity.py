"""Who rates high and who low: each rater's shift, shrunken to be shown and unshrunken to be judged.

Positive effects raise ratings (lenient), negative ones lower them (severe).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.raters.rater_effects import RaterEffects, rater_effects
from mentorstats.calibration.raters.rater_rows import (
    CONTRAST,
    EFFECT,
    ON_LEVELS,
    contrast_columns,
    interval_columns,
)
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.tables import statuses

Floats = NDArray[np.float64]

METHOD = "prediction_error_z"
CONTRAST_METHOD = "unshrunken_z"
REFERENCE = "kass_steffey_1989"

_COUNTS = ["rater", "rater_role", "n_ratings", "n_lessons", "n_candidates"]
_EFFECT = [*EFFECT, "effect_level", "effect_level_low", "effect_level_high"]
_CONTRAST = [*CONTRAST, "p", "contrast_level", "contrast_level_low", "contrast_level_high"]
_TOLD = ["confidence", "interval_method", "contrast_method", "status", "status_note", "reference"]
COLUMNS = [*_COUNTS, "network", *_EFFECT, *_CONTRAST, "rater_reliability", *_TOLD]

_NOT_LINKED = (
    "Nobody else rated a candidate of this rater: it is by taking candidates as assigned at random that the "
    "rater is told from the candidates."
)
_ONE_CANDIDATE = (
    "Rated one candidate, whom nobody else rated: rater and candidate are told apart by assumption only."
)
_ALONE = "The only rater of the role: nobody to compare with."
_NO_INFORMATION = "The ratings do not tell this rater from what else the model holds."
_BOUNDARY = (
    "The variance between raters is estimated as zero: shrunken effects are zero and have no interval."
)


@entry(keep_index=True)
def severity(base: Base, *, networks: pd.DataFrame | None = None) -> pd.DataFrame:
    """Each rater's shift, shrunken and unshrunken, on the latent scale and on the level scale.

    Parameters
    ----------
    base
        The base fit.
    networks
        ``linkage(long).raters``, or columns ``rater``, ``network``, ``status`` and, where there are,
        ``rater_role`` and ``status_note``. Without it a rater none of whose candidates was rated by
        somebody else has the status ``by_assumption``, and ``network`` is empty.

    Returns
    -------
    pandas.DataFrame
        One row a rater and role, by role then code. ``effect`` with ``se, low, high``: shrunken; its errors
        allow for the fixed terms and for the variance between raters being estimated [kass_steffey_1989].
        ``contrast`` with ``contrast_se, contrast_low, contrast_high, p``: the rater alone not shrunken,
        against the mean of the raters of the role. ``…_level``: the same in ranks, for a middling
        candidate. ``rater_reliability``: what shrinking leaves of a rater's deviation. NaN where the
        status allows no value.

    Raises
    ------
    ColumnError, ArgumentError
        ``networks`` lacks a column or has a rater twice.

    Notes
    -----
    Raters are unshrunken one at a time, not all at once with the sum of zero that the data then need. Both
    are free of shrinkage; the first has the same reference as the shrunken effect, the mean of the raters
    from whom the programme's are drawn, and its error holds what is not known about that mean. In simulated
    programmes of thirty supervisors squared errors against that reference are 1.1 times what the first
    says of them and 1.3 to 1.5 times what the second says, at about the same false discoveries and power;
    with fewer raters the second would fall further behind (tests/calibration/truth.csv has the counts). The
    tenth is what few ratings a lesson do to the variances of the fit.
    """
    if networks is not None:
        networks = networks.reset_index() if "rater" in networks.index.names else networks
        need_columns(networks.columns, ("rater", "network", "status"), where="networks")
        statuses(networks["status"], "networks")
    status, note = base.status, base.status_note
    if not has_value(status):
        return _without(base, status, note)
    table = base.raters[_COUNTS].copy()
    numbers = {name: np.full(len(table), np.nan) for name in (*_EFFECT, *_CONTRAST, "rater_reliability")}
    boundary = np.zeros(len(table), dtype=bool)
    for raters in rater_effects(base):
        boundary[raters.rows] = raters.sd == 0
        for name, values in _numbers(base, raters).items():
            numbers[name][raters.rows] = values
    found = table.assign(**numbers)
    told = _told(base, found, boundary, networks)
    found = found.assign(
        confidence=base.fit.confidence,
        interval_method=np.where(found["low"].notna(), METHOD, "none"),
        contrast_method=np.where(found["contrast_low"].notna(), CONTRAST_METHOD, "none"),
        reference=REFERENCE,
        **told,
    )
    closed = ~found["status"].map(lambda code: has_value(Status(code))).to_numpy(dtype=bool)
    found.loc[closed, [*_EFFECT, *_CONTRAST, "rater_reliability"]] = np.nan
    found.loc[closed, ["interval_method", "contrast_method"]] = "none"
    return found[COLUMNS].sort_values(["rater_role", "rater"], ignore_index=True)


def _numbers(base: Base, raters: RaterEffects) -> dict[str, Floats]:
    effect, confidence = raters.shrunken[0], base.fit.confidence
    se = np.sqrt(raters.error_with_unknown_sd()) if raters.sd > 0 else np.full(len(effect), np.nan)
    found = interval_columns(EFFECT, effect, se, confidence)
    found |= contrast_columns(*raters.contrast(), confidence) | {"rater_reliability": raters.reliability}
    return found | {name: base.on_level_scale(found[latent]) for name, latent in ON_LEVELS.items()}


def _told(
    base: Base, found: pd.DataFrame, boundary: NDArray[np.bool_], networks: pd.DataFrame | None
) -> dict[str, pd.Series]:
    """Network, status and its note; a rater's own reason to have no value comes before the network's."""
    frame = _by_assumption(base) if networks is None else _given(found, networks)
    alone = found.groupby("rater_role")["rater"].transform("size").to_numpy() == 1
    unknown = found["contrast"].isna().to_numpy()
    open_ = frame["status"].eq(Status.OK.value).to_numpy()
    for rows, status, note in (
        (boundary & open_, Status.BOUNDARY, _BOUNDARY),
        (unknown, Status.NOT_IDENTIFIED, _NO_INFORMATION),
        (alone, Status.ONE_RATER, _ALONE),
    ):
        frame.loc[rows, ["status", "status_note"]] = [status.value, note]
    return {name: frame[name] for name in ("network", "status", "status_note")}


def _given(found: pd.DataFrame, networks: pd.DataFrame) -> pd.DataFrame:
    keys = [name for name in ("rater", "rater_role") if name in networks]
    wanted = networks.assign(rater=networks["rater"].astype("str"))
    twice = wanted[wanted.duplicated(keys)]
    if len(twice):
        raise ArgumentError(
            f"rater {twice['rater'].iloc[0]!r} stands there more than once",
            where="networks",
            remedy="Give one row a rater, or a rater and role.",
        )
    names = [name for name in ("network", "status", "status_note") if name in wanted]
    frame = found[keys].merge(wanted[[*keys, *names]], on=keys, how="left", validate="many_to_one")
    frame.index = found.index
    note = frame["status_note"] if "status_note" in frame else pd.Series("", index=frame.index)
    lost = frame["status"].isna()
    return frame.assign(
        status=frame["status"].astype("object").where(~lost, Status.NOT_IDENTIFIED.value),
        status_note=note.astype("object").fillna("").where(~lost, "No network was given for this rater."),
    )


def _by_assumption(base: Base) -> pd.DataFrame:
    """Status from who shares candidates, where no networks are given."""
    raters_of = base.rows.groupby("candidate", observed=True)["rater"].nunique()
    shared = (base.rows["candidate"].map(raters_of) > 1).to_numpy()
    linked = np.bincount(base.rater_of_row, shared, minlength=len(base.raters)) > 0
    one = (base.raters["n_candidates"] == 1).to_numpy()
    note = np.where(linked, "", np.where(one, _ONE_CANDIDATE, _NOT_LINKED))
    status = np.where(linked, Status.OK.value, Status.BY_ASSUMPTION.value)
    return pd.DataFrame(
        {
            "network": pd.array([pd.NA] * len(one), dtype="Int64"),
            "status": status.astype(object),
            "status_note": note.astype(object),
        },
        index=base.raters.index,
    )


def _without(base: Base, status: Status, note: str) -> pd.DataFrame:
    """Rows with the status of a fit that has no values of raters."""
    rows = base.counted.sort_values(["rater_role", "rater"], ignore_index=True)
    return rows.reindex(columns=COLUMNS).assign(
        confidence=base.fit.confidence,
        interval_method="none",
        contrast_method="none",
        status=status.value,
        status_note=note,
        reference=REFERENCE,
    )
