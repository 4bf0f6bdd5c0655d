"""How ratings come about: crossed effects on a latent scale, cut into levels by the criterion's thresholds.

Of form f (lesson o of candidate c in week w, rated by r) and criterion k, the latent judgement is

    cohort + change·(w − 7.5) + candidate_c + slope_c·(w − 7.5) + lesson_o
    + shift_r + drift_r·(w − 7.5) + bonus·[own mentor] + rater_criterion_rk + residual_fk
    + (rater_bias·[r is biased] + criterion_bias·[k is biased])·([c is a career changer] − ½)

and the rank is one more than the number of thresholds of k that it exceeds. Residuals are standard
logistic; within a form they correlate (through a normal copula) only where the rater has a halo. The
thresholds of a rater who bunches lie ``stretch`` times as far from their mean as everybody else's.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import log_ndtr

from mentorstats.demo.effects import (
    BASE_THRESHOLDS,
    CRITERION_SD,
    MIDDLE_WEEK,
    REWORDED_SHIFT,
    THRESHOLD_SD,
    Effects,
)
from mentorstats.demo.plan import Plan
from mentorstats.errors import ArgumentError

REASONS = ("not_observed", "not_applicable", "not_scored", "withheld")
MISSING = {"not_observed": 0.03, "not_applicable": 0.008, "not_scored": 0.012}  # share of ratings
WITHHELD_FORMS = 5  # forms withheld as a whole
AGREED_FORMS = 12  # mentors' forms filled in after seeing the supervisor's
AGREED = 0.8  # share of their levels taken over

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Realised effects, in logits.

    Attributes
    ----------
    candidates
        effect, slope (a week), a row a placement.
    lessons
        One effect a lesson.
    raters
        shift (positive is lenient), drift (a week), stretch, halo, planted (what, or "").
    rater_criterion
        Raters × criteria.
    thresholds
        Versions × criteria × (levels − 1); NaN where a version lacks the criterion.
    biased_rater, biased_criterion
        Who and which favours one group of candidates over the other.
    """

    candidates: pd.DataFrame
    lessons: Floats
    raters: pd.DataFrame
    rater_criterion: Floats
    thresholds: Floats
    biased_rater: int
    biased_criterion: int


@dataclass(frozen=True, slots=True)
class Scores:
    """Filled-in forms: forms × criteria of the form's version.

    Attributes
    ----------
    criterion
        Which criterion (column of ``Drawn.rater_criterion``).
    rank
        1 = lowest level; also there where the reason says that it was not recorded.
    reason
        Position in ``REASONS``, or -1 where the level is recorded.
    independent
        One a form.
    """

    criterion: Ints
    rank: Ints
    reason: Ints
    independent: NDArray[np.bool_]


def draw(
    plan: Plan,
    versions: NDArray[np.bool_],
    reworded: NDArray[np.bool_],
    effects: Effects,
    rng: np.random.Generator,
) -> Drawn:
    """Draw every effect.

    Parameters
    ----------
    plan
        Who watches whom.
    versions
        Versions × criteria: whether the version has the criterion.
    reworded
        Versions × criteria: whether the version words it differently from the first.
    effects
        Sizes.
    rng
        Source of chance.

    Raises
    ------
    ArgumentError
        When more raters are to be planted than serve in all cycles.
    """
    placed, criteria = len(plan.placements), versions.shape[1]
    candidates = pd.DataFrame(
        {
            "effect": rng.normal(0, effects.candidate, placed),
            "slope": rng.normal(0, effects.candidate_slope, placed),
        }
    )
    lessons = rng.normal(0, effects.lesson, len(plan.lessons))
    raters = _raters(plan, effects, rng)
    crossing = rng.normal(0, effects.rater_criterion, (len(raters), criteria))
    crossing[raters["planted"] == "halo"] = 0
    same = int(np.flatnonzero(versions.all(axis=0) & ~reworded.any(axis=0))[0])
    thresholds = _thresholds(versions, reworded, rng)
    return Drawn(candidates, lessons, raters, crossing, thresholds, _to_bias(plan, raters), same)


def _raters(plan: Plan, effects: Effects, rng: np.random.Generator) -> pd.DataFrame:
    raters = pd.DataFrame(
        {
            "shift": rng.normal(0, effects.rater, len(plan.raters)),
            "drift": 0.0,
            "stretch": 1.0,
            "halo": 0.0,
            "planted": "",
        }
    )
    severe = ["severe" if size < 0 else "lenient" for size in effects.severities]
    supervisors = _to_plant(
        plan, "supervisor", len(severe) + len(effects.drifts) + len(effects.stretches), rng
    )
    mentors = _to_plant(plan, "mentor", len(effects.halos), rng)
    rows = np.concatenate([supervisors, mentors])
    kinds = severe + ["drift"] * len(effects.drifts) + ["central_tendency"] * len(effects.stretches)
    raters.loc[rows, "planted"] = kinds + ["halo"] * len(effects.halos)
    raters.loc[rows, "shift"] = 0.0
    begun = 0
    for column, sizes in (
        ("shift", np.array(effects.severities) * effects.rater),
        ("drift", np.array(effects.drifts)),
        ("stretch", np.array(effects.stretches)),
        ("halo", np.array(effects.halos)),
    ):
        raters.loc[rows[begun : begun + len(sizes)], column] = sizes
        begun += len(sizes)
    return raters


def _to_plant(plan: Plan, role: str, wanted: int, rng: np.random.Generator) -> Ints:
    """Pick raters of a role who serve in every cycle and share candidates beyond their own site."""
    raters = plan.raters
    steady = np.flatnonzero((raters["role"] == role) & ~raters["far"] & (raters["cycles"] == 3))
    if wanted > len(steady):
        raise ArgumentError(
            f"{wanted} {role}s are to be planted, {len(steady)} serve in every cycle",
            remedy="Plant fewer effects.",
        )
    return rng.permutation(steady)[:wanted]


def _to_bias(plan: Plan, raters: pd.DataFrame) -> int:
    """Pick the supervisor with nothing planted who sees most candidates of the group they see less of."""
    placement = plan.lessons["placement"].to_numpy()[plan.forms["lesson"]]
    seen = pd.DataFrame({"rater": plan.forms["rater"], "placement": placement}).drop_duplicates()
    changed = plan.placements["career_changer"].to_numpy()[seen["placement"]]
    fewer = pd.crosstab(seen["rater"], changed).min(axis=1).reindex(plan.raters.index, fill_value=0)
    could = (plan.raters["role"] == "supervisor") & ~plan.raters["far"] & (raters["planted"] == "")
    return int(fewer.where(could, -1).to_numpy().argmax())


def _thresholds(versions: NDArray[np.bool_], reworded: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    criteria = versions.shape[1]
    difficulty = rng.normal(0, CRITERION_SD, (criteria, 1))
    own = rng.normal(0, THRESHOLD_SD, (criteria, len(BASE_THRESHOLDS)))
    thresholds = (np.array(BASE_THRESHOLDS) + difficulty + own) + REWORDED_SHIFT * reworded[..., None]
    thresholds[~versions] = np.nan
    return thresholds


def rate(
    plan: Plan,
    drawn: Drawn,
    version: Ints,
    effects: Effects,
    rng: np.random.Generator,
) -> Scores:
    """Fill in every form.

    Parameters
    ----------
    plan, drawn, effects
        The programme and its effects.
    version
        Version of the rubric (row of ``drawn.thresholds``) that each cycle uses; all have equally
        many criteria.
    rng
        Source of chance.
    """
    forms = plan.forms
    cycle = _cycle_of_form(plan)
    criterion = np.stack([np.flatnonzero(~np.isnan(drawn.thresholds[v, :, 0])) for v in version])[cycle]
    rater = forms["rater"].to_numpy()
    judged = (
        _of_the_form(plan, drawn, effects, cycle)[:, None]
        + drawn.rater_criterion[rater[:, None], criterion]
        + _residuals(drawn.raters["halo"].to_numpy()[rater], criterion.shape[1], rng)
        + _biases(plan, drawn, effects, criterion)
    )
    thresholds = drawn.thresholds[version[cycle][:, None], criterion]
    middle = thresholds.mean(axis=2, keepdims=True)
    stretch = drawn.raters["stretch"].to_numpy()[rater][:, None, None]
    rank = 1 + (judged[..., None] > middle + stretch * (thresholds - middle)).sum(axis=2)
    independent = _agree(plan, rank, rng)
    return Scores(criterion, rank, _reasons(rank.shape, rng), independent)


def _cycle_of_form(plan: Plan) -> Ints:
    placement = plan.lessons["placement"].to_numpy()[plan.forms["lesson"]]
    cycle: Ints = plan.placements["cycle"].to_numpy()[placement]
    return cycle


def _of_the_form(plan: Plan, drawn: Drawn, effects: Effects, cycle: Ints) -> Floats:
    """Everything that one form's criteria share, except the residual."""
    lesson, rater = plan.forms["lesson"].to_numpy(), plan.forms["rater"].to_numpy()
    placement = plan.lessons["placement"].to_numpy()[lesson]
    week = plan.lessons["week"].to_numpy()[lesson] - MIDDLE_WEEK
    candidate, raters = drawn.candidates.loc[placement], drawn.raters.loc[rater]
    shared: Floats = (
        np.array(effects.cohorts)[cycle]
        + candidate["effect"].to_numpy()
        + (effects.change_per_week + candidate["slope"].to_numpy()) * week
        + drawn.lessons[lesson]
        + raters["shift"].to_numpy()
        + raters["drift"].to_numpy() * week
        + effects.own_mentor * plan.forms["own_mentor"].to_numpy()
    )
    return shared


def _biases(plan: Plan, drawn: Drawn, effects: Effects, criterion: Ints) -> Floats:
    """What one rater, and all on one criterion, add for the group of the candidate, forms × criteria."""
    placement = plan.lessons["placement"].to_numpy()[plan.forms["lesson"]]
    side = plan.placements["career_changer"].to_numpy()[placement] - 0.5
    rater = effects.rater_bias * (plan.forms["rater"].to_numpy() == drawn.biased_rater)
    on_criterion = effects.criterion_bias * (criterion == drawn.biased_criterion)
    added: Floats = side[:, None] * (rater[:, None] + on_criterion)
    return added


def _residuals(halo: Floats, criteria: int, rng: np.random.Generator) -> Floats:
    """Draw standard logistic residuals that correlate within a form as its rater's halo says."""
    shared = rng.standard_normal((len(halo), 1))
    own = rng.standard_normal((len(halo), criteria))
    normal = np.sqrt(halo)[:, None] * shared + np.sqrt(1 - halo)[:, None] * own
    logistic: Floats = log_ndtr(normal) - log_ndtr(-normal)
    return logistic


def _agree(plan: Plan, rank: Ints, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Let some mentors take over most of the supervisor's levels, in place; return who did not."""
    forms = plan.forms
    role = plan.raters["role"].to_numpy()[forms["rater"]]
    supervisor = pd.Series(np.flatnonzero(role == "supervisor")).groupby(
        forms["lesson"].to_numpy()[role == "supervisor"]
    )
    partner = forms["lesson"].map(supervisor.first())
    could = np.flatnonzero(forms["own_mentor"].to_numpy() & partner.notna().to_numpy())
    agreed = np.sort(rng.choice(could, AGREED_FORMS, replace=False))
    theirs = rank[partner.to_numpy()[agreed].astype(int)]
    rank[agreed] = np.where(rng.random(theirs.shape) < AGREED, theirs, rank[agreed])
    independent = np.ones(len(forms), dtype=bool)
    independent[agreed] = False
    return independent


def _reasons(shape: tuple[int, ...], rng: np.random.Generator) -> Ints:
    edges = np.cumsum(list(MISSING.values()))
    drawn = np.searchsorted(edges, rng.random(shape), side="right")
    reason = np.where(drawn < len(MISSING), drawn, -1)
    reason[rng.choice(shape[0], WITHHELD_FORMS, replace=False)] = REASONS.index("withheld")
    return reason
