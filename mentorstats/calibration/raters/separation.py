"""How far the raters of a role differ: their own mean, their spread, and how well they can be told apart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import chi2, norm

from mentorstats.calibration.base.base import Base
from mentorstats.calibration.raters.rater_effects import RaterEffects, rater_effects
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, need_columns
from mentorstats.estimate import Status, has_value
from mentorstats.mixed.design.layout import Categories
from mentorstats.mixed.profile.held import hold_sd, variance_space
from mentorstats.tables import numbers, statuses

Numbers = dict[str, Any]

METHOD = "restricted_profile_near_the_fit"
REFIT, SCREEN = "likelihood_ratio", "likelihood_ratio_near_the_fit"
CLEAR = 30.0  # statistic from which no refit could change the answer: p below 3e-8
COLUMNS = [
    "rater_role",
    "network",
    "n_raters",
    "n_ratings",
    "role_mean",
    "role_mean_low",
    "role_mean_high",
    "role_mean_level",
    "role_mean_level_low",
    "role_mean_level_high",
    "sd",
    "sd_low",
    "sd_high",
    "sd_level",
    "sd_level_low",
    "sd_level_high",
    "reliability",
    "reliability_low",
    "reliability_high",
    "typical_error",
    "spread_to_error",
    "spread_to_error_low",
    "spread_to_error_high",
    "distinguishable_groups",
    "distinguishable_groups_low",
    "distinguishable_groups_high",
    "statistic",
    "p",
    "p_method",
    "confidence",
    "interval_method",
    "status",
    "status_note",
    "reference",
]
_REFERENCE = "self_liang_1987"
_BOUNDARY = "The variance between these raters is estimated as zero."
_ASSUMED = "{n} of {of} raters are told from their candidates by assumption only."
_ALONE = "One rater with a value: nothing to compare."


@entry()
def separation(base: Base, raters: pd.DataFrame, *, refit: bool = True) -> pd.DataFrame:
    """How far raters differ, a row a role, and a row each network of a role with several.

    Parameters
    ----------
    base
        The base fit.
    raters
        Its raters, from `severity`.
    refit
        Whether a likelihood ratio that is not clear is made by fitting with the variance held at zero.

    Returns
    -------
    pandas.DataFrame
        ``role_mean`` with its interval: the role's mean on the latent scale against that of the first role,
        which has none; ``sd`` with its interval: between the raters of a role, for a network that of its
        role; ``…_level``: in ranks, for a middling candidate (the spread: half the distance between one
        standard deviation up and one down). ``reliability`` G²/(1 + G²), where high means that raters differ;
        ``typical_error``, the root mean square of the unshrunken errors; ``spread_to_error`` G = sd over it;
        ``distinguishable_groups`` (4G + 1)/3, how many levels of severity could be told apart
        [wright_masters_1982];
        the limits of both are those of G.
        ``statistic``, ``p``: likelihood ratio against raters who do not differ. Network missing: all.

    Notes
    -----
    With errors C/ρ of the contrasts (see `unshrunken`), G²/(1 + G²) is the raters' own reliability ρ where
    all have the same. From shrunken effects G would come out too small.

    Limits of the spread are those of its restricted profile likelihood, from a normal likelihood of
    raters' effects near the fit, the other variances' part taken off at the fit; they hold at zero too. A
    statistic of the same kind serves the likelihood ratio where it is at least `CLEAR`; far from zero it
    is too large, but says the same. Below that the model is fitted with the variance held at zero. The
    reference is half a point at zero, half χ² with one degree of freedom [self_liang_1987].

    Raises
    ------
    ColumnError
        ``raters`` lacks a column.
    """
    need_columns(
        raters.columns,
        ("rater", "rater_role", "network", "n_ratings", "contrast_se", "status", "status_note"),
        where="raters",
    )
    known = has_value(base.status)
    statuses(raters["status"], "raters")
    unknown = set(raters["rater_role"].dropna().astype("str")) - set(base.counted["rater_role"])
    if unknown:
        raise ArgumentError(
            f"the fit holds no role {min(unknown)!r}", where="raters", remedy="Give the table of `severity`."
        )
    errors = numbers(raters["contrast_se"], "raters")
    raters = raters.assign(contrast_se=errors, n_ratings=numbers(raters["n_ratings"], "raters").fillna(0))
    spread = _spreads(base, refit) if known else {}
    means = _means(base) if known else {}
    rows = [
        _row(base, str(role), network, part, spread.get(str(role), {}), means.get(str(role), {}))
        for role, whole in raters.groupby("rater_role", observed=True, sort=True)
        for network, part in _parts(whole)
    ]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    for name in ("interval_method", "p_method"):
        frame[name] = frame[name].astype("object").fillna("none").astype("str")
    return frame


def _parts(whole: pd.DataFrame) -> list[tuple[Any, pd.DataFrame]]:
    networks = [(name, part) for name, part in whole.groupby("network", observed=True, sort=True)]
    return [(pd.NA, whole), *(networks if len(networks) > 1 else [])]


def _row(
    base: Base, role: str, network: object, part: pd.DataFrame, spread: Numbers, mean: Numbers
) -> Numbers:
    errors = part["contrast_se"].dropna().to_numpy()
    status, note = _status(base, part, spread, len(errors))
    row: Numbers = {
        "rater_role": role,
        "network": network,
        "n_raters": len(part),
        "n_ratings": int(part["n_ratings"].sum()),
        "confidence": base.fit.confidence,
        "status": status.value,
        "status_note": f"{note} {spread.get('note', '')}".strip(),
        "reference": _REFERENCE,
        **mean,
    }
    if not has_value(status):
        return row
    rms = float(np.sqrt(np.mean(errors**2)))
    g = {f"spread_to_error{end}": spread[f"sd{end}"] / rms for end in ("", "_low", "_high")}
    apart: Numbers = {"typical_error": rms}
    for end in ("", "_low", "_high"):  # both rise with G, so its limits are theirs
        own = g[f"spread_to_error{end}"]
        apart |= {f"distinguishable_groups{end}": (4 * own + 1) / 3, f"reliability{end}": _reliability(own)}
    return row | {name: value for name, value in spread.items() if name != "note"} | g | apart


def _reliability(g: float) -> float:
    return 1.0 if np.isinf(g) else g**2 / (1 + g**2)


def _status(base: Base, part: pd.DataFrame, spread: Numbers, n: int) -> tuple[Status, str]:
    status, why = base.status, base.status_note
    if not has_value(status):
        return status, why
    if n < 2:
        return Status.ONE_RATER, _ALONE
    assumed = part["status"].eq(Status.BY_ASSUMPTION.value)
    if assumed.any():
        return Status.BY_ASSUMPTION, _ASSUMED.format(n=int(assumed.sum()), of=len(part))
    return (Status.BOUNDARY, _BOUNDARY) if spread["sd"] == 0 else (Status.OK, "")


def _spreads(base: Base, refit: bool) -> dict[str, Numbers]:
    """Spread between raters and the test of it, role to numbers."""
    found: dict[str, Numbers] = {}
    for own in rater_effects(base):
        roles = sorted(base.raters["rater_role"].iloc[own.rows].unique())
        sds = np.array([own.sd, *own.sd_limits(base.fit.confidence)])
        finite = np.where(np.isfinite(sds), sds, np.nan)
        levels = (base.on_level_scale(finite) - base.on_level_scale(-finite)) / 2
        statistic, p, method = _test(base, own, roles[0], refit)
        numbers: Numbers = {"statistic": statistic, "p": p, "p_method": method, "interval_method": METHOD}
        for end, sd, level in zip(("", "_low", "_high"), sds, levels, strict=True):
            numbers |= {f"sd{end}": float(sd), f"sd_level{end}": float(level)}
        notes = _confounded(base)
        if len(roles) > 1:
            notes.append(f"{' and '.join(roles)} have one standard deviation: one has too few raters.")
        numbers["note"] = " ".join(notes)
        found |= dict.fromkeys(roles, numbers)
    return found


def _confounded(base: Base) -> list[str]:
    """What the roles' means cannot be told from."""
    aliased = base.model.screening.aliased.values()
    return [verdict.note for verdict in aliased if "rater_role" in verdict.note]


def _test(base: Base, own: RaterEffects, role: str, refit: bool) -> tuple[float, float, str]:
    if own.sd == 0:
        return 0.0, 1.0, REFIT
    statistic, p = own.homogeneity()
    if not refit or not statistic < CLEAR:
        return statistic, p, SCREEN
    statistic = max(_held_at_zero(base, role), 0.0)
    return statistic, float(0.5 * chi2.sf(statistic, 1)) if statistic > 0 else 1.0, REFIT


def _held_at_zero(base: Base, role: str) -> float:
    """How much worse minus twice the log-likelihood is without the variance, everything else fitted again."""
    roles = list(base.model.members[base.rater_grouping].roles)
    place = roles.index(role) if roles else 0
    space, first, _ = variance_space(base.model, base.rater_grouping, place)
    space.adjust = None  # plain likelihood, as the reference distribution is about
    held = hold_sd(space, first, linear=False)
    return float(held.best(0.0, held.start)[0] - space.best)


def _means(base: Base) -> dict[str, Numbers]:
    """Roles' means against the first role, role to numbers."""
    deviate = float(norm.ppf(0.5 + base.fit.confidence / 2))
    joint, names = base.joint, base.model.names
    cuts = len(joint.beta) - len(names)
    roles = base.model.layout.atoms.get("rater_role")
    first = roles.against if isinstance(roles, Categories) else None
    found: dict[str, Numbers] = {}
    for role in base.raters["rater_role"].unique():
        label = f"rater_role: {role}"
        if label not in names:  # the first one, the only one, or one that cannot be told from the rest
            zero = 0.0 if first in (role, None) else np.nan
            found[role] = {"role_mean": zero, "role_mean_level": zero}
            continue
        at = cuts + names.index(label)
        value, half = float(joint.beta[at]), deviate * float(np.sqrt(joint.covariance[at, at]))
        three = np.array([value, value - half, value + half])
        for end, here, level in zip(("", "_low", "_high"), three, base.on_level_scale(three), strict=True):
            found.setdefault(role, {}).update(
                {f"role_mean{end}": float(here), f"role_mean_level{end}": float(level)}
            )
    return found
