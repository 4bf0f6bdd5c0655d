"""What is true of an invented programme: every planted effect, realised effects, components, designs."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mentorstats.demo.effects import Effects
from mentorstats.demo.frames import COHORTS, VERSIONS, Codes, far_site
from mentorstats.demo.level_scale import level_shares, level_shift
from mentorstats.demo.plan import Plan
from mentorstats.demo.ratings import Drawn, Scores
from mentorstats.demo.rubric import Rubric

_UNITS = {
    "severe": "standard deviations of raters",
    "lenient": "standard deviations of raters",
    "drift": "logits a week",
    "central_tendency": "times the thresholds' distance from their mean",
    "halo": "correlation of the residuals within a form",
}


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth of an invented programme; logits unless said otherwise, levels approximate.

    "Approximate" levels are expectations under the model for the first version of the rubric,
    averaged over criteria, candidates, lessons and raters of the first cycle's middle week.

    Attributes
    ----------
    sizes
        name, logits, level: own-mentor bonus, change a week, each cohort against the first.
    planted
        rater, role, effect, size, unit, logits, level: what was planted on whom; the last two are
        a week for drift, and missing for effects that are no shift.
    components
        component, variance, sd, share (latent scale), share_level (of one rating's level).
    thresholds
        rubric_version, criterion, and one column a level but the lowest: the threshold below it.
    raters
        rater, role, shift (positive is lenient), drift (a week), stretch, halo, network (raters of
        different networks share no candidate, directly or through others).
    candidates
        candidate, cohort, effect, slope (a week), without the cohort's and the mean change.
    biases
        effect (rater or criterion), member (whose code), field, group, against, logits, level: what is
        added for one group of candidates against another.
    agreed
        observation, rater: forms filled in after seeing the supervisor's.
    certified
        rater, recordings (how many scored), exact (chance of the key level in one rating), verdict
        (what the shipped rules of certification should find; missing where it is left to chance), moves
        (whether errors go from above the key to below it over the sittings).
    practice
        Sizes planted in teaching load, questions and tutoring; see `mentorstats.demo.practice`.
    unlinked_site
        The site whose raters share no candidate with the others.
    double_scored
        Share of lessons with forms of a mentor and of a supervisor.
    """

    effects: Effects
    sizes: pd.DataFrame
    planted: pd.DataFrame
    components: pd.DataFrame
    thresholds: pd.DataFrame
    raters: pd.DataFrame
    candidates: pd.DataFrame
    biases: pd.DataFrame
    agreed: pd.DataFrame
    certified: pd.DataFrame
    practice: Mapping[str, float]
    unlinked_site: str
    double_scored: float


def gather(
    plan: Plan,
    codes: Codes,
    drawn: Drawn,
    scores: Scores,
    effects: Effects,
    rubric: Rubric,
    certified: pd.DataFrame,
    practice: Mapping[str, float],
) -> Truth:
    """Put the truth together from what was drawn."""
    first = drawn.thresholds[0][~np.isnan(drawn.thresholds[0, :, 0])]
    forms = plan.forms[~scores.independent]
    return Truth(
        effects=effects,
        sizes=_sizes(effects, first),
        planted=_planted(plan, codes, drawn, effects, first),
        components=_components(effects, first),
        thresholds=_thresholds(drawn, rubric),
        raters=_raters(plan, codes, drawn),
        candidates=_candidates(plan, codes, drawn),
        biases=_biases(codes, drawn, effects, rubric, first),
        agreed=pd.DataFrame(
            {"observation": codes.lessons[forms["lesson"]], "rater": codes.raters[forms["rater"]]}
        ),
        certified=certified,
        practice=dict(practice),
        unlinked_site=far_site(),
        double_scored=_double_scored(plan),
    )


def _sizes(effects: Effects, thresholds: NDArray[np.float64]) -> pd.DataFrame:
    sizes = {"own mentor": effects.own_mentor, "change a week": effects.change_per_week}
    sizes |= {f"cohort {name}": size for name, size in zip(COHORTS, effects.cohorts, strict=True)}
    return pd.DataFrame(
        {
            "name": list(sizes),
            "logits": list(sizes.values()),
            "level": [level_shift(thresholds, effects, size) for size in sizes.values()],
        }
    )


def _planted(
    plan: Plan, codes: Codes, drawn: Drawn, effects: Effects, thresholds: NDArray[np.float64]
) -> pd.DataFrame:
    raters = drawn.raters[drawn.raters["planted"] != ""]
    kind = raters["planted"]
    size, logits, unit = raters["shift"] / effects.rater, raters["shift"], kind.map(_UNITS)
    for name, column in (("drift", "drift"), ("central_tendency", "stretch"), ("halo", "halo")):
        size = size.where(kind != name, raters[column])
    logits = logits.where(kind != "drift", raters["drift"]).where(kind.isin(["severe", "lenient", "drift"]))
    level = [level_shift(thresholds, effects, value) for value in logits]
    return pd.DataFrame(
        {
            "rater": codes.raters[raters.index],
            "role": plan.raters["role"][raters.index],
            "effect": kind,
            "size": size,
            "unit": unit,
            "logits": logits,
            "level": level,
        }
    ).reset_index(drop=True)


def _components(effects: Effects, thresholds: NDArray[np.float64]) -> pd.DataFrame:
    variance = pd.Series(effects.variances)
    return pd.DataFrame(
        {
            "component": variance.index,
            "variance": variance.to_numpy(),
            "sd": np.sqrt(variance.to_numpy()),
            "share": (variance / variance.sum()).to_numpy(),
            "share_level": list(level_shares(thresholds, effects).values()),
        }
    )


def _thresholds(drawn: Drawn, rubric: Rubric) -> pd.DataFrame:
    there = ~np.isnan(drawn.thresholds[..., 0])
    version, criterion = np.nonzero(there)
    frame = pd.DataFrame(drawn.thresholds[there], columns=list(rubric.levels[1:]))
    frame.insert(0, "rubric_version", np.array(list(rubric.versions))[version])
    frame.insert(1, "criterion", np.array(rubric.codes)[criterion])
    return frame


def _raters(plan: Plan, codes: Codes, drawn: Drawn) -> pd.DataFrame:
    placement = plan.lessons["placement"].to_numpy()[plan.forms["lesson"]]
    return pd.DataFrame(
        {
            "rater": codes.raters,
            "role": plan.raters["role"],
            **{name: drawn.raters[name] for name in ("shift", "drift", "stretch", "halo", "planted")},
            "network": _networks(plan.forms["rater"].to_numpy(), placement, len(plan.raters)),
        }
    )


def _networks(rater: NDArray[np.intp], placement: NDArray[np.intp], raters: int) -> NDArray[np.int32]:
    """Return the connected part of the rater–candidate graph each rater is in, numbered from 1."""
    size = raters + int(placement.max()) + 1
    edges = coo_array((np.ones(len(rater), dtype=np.int8), (rater, raters + placement)), shape=(size, size))
    _, part = connected_components(edges, directed=False)
    network: NDArray[np.int32] = part[:raters] + 1
    return network


def _candidates(plan: Plan, codes: Codes, drawn: Drawn) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "candidate": codes.candidates,
            "cohort": np.array(COHORTS)[plan.placements["cycle"]],
            "effect": drawn.candidates["effect"],
            "slope": drawn.candidates["slope"],
        }
    )


def _biases(
    codes: Codes, drawn: Drawn, effects: Effects, rubric: Rubric, thresholds: NDArray[np.float64]
) -> pd.DataFrame:
    logits = [effects.rater_bias, effects.criterion_bias]
    return pd.DataFrame(
        {
            "effect": ["rater", "criterion"],
            "member": [codes.raters[drawn.biased_rater], rubric.codes[drawn.biased_criterion]],
            "field": "entry_route",
            "group": "career_changer",
            "against": "school_leaver",
            "logits": logits,
            "level": [level_shift(thresholds, effects, size) for size in logits],
        }
    )


def _double_scored(plan: Plan) -> float:
    role = plan.raters["role"].to_numpy()[plan.forms["rater"]]
    roles = pd.Series(role).groupby(plan.forms["lesson"].to_numpy()).nunique()
    return float((roles == 2).mean())


_FRAMES = (
    "sizes", "planted", "components", "thresholds", "agreed", "certified", "raters", "candidates",
    "biases",
)  # fmt: skip


def document(truth: Truth) -> dict[str, object]:
    """Return the truth as plain lists and numbers, for the truth file."""
    return {
        "model": "cumulative logit; positive effects raise the level; weeks are counted from 7.5",
        "rubric_versions": dict(zip(COHORTS, VERSIONS, strict=True)),
        "unlinked_site": truth.unlinked_site,
        "double_scored": truth.double_scored,
        "candidate_slope_sd": truth.effects.candidate_slope,
        "practice": dict(truth.practice),
        **{name: _plain(getattr(truth, name)) for name in _FRAMES},
    }


def _plain(frame: pd.DataFrame) -> list[dict[Hashable, object]]:
    return frame.astype(object).where(frame.notna(), None).to_dict(orient="records")
