"""Degenerate tables and arguments to every public function of the statistics.

Every function of ``mentorstats.agreement``, ``key_scores``, ``mixed``, ``reliability`` and ``calibration``
has one valid call here. A case takes one of them, spoils one or two of its arguments, and calls. A result or
an error of the package is a legal outcome, anything else a failure.

Run: ``OPENBLAS_NUM_THREADS=1 python tests/degenerate.py`` writes tests/degenerate.csv from the full run.
"""

import datetime
import functools
import inspect
import resource
import time
import traceback
import warnings
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from mentorstats import agreement, calibration, key_scores, mixed, policy, reliability
from mentorstats.errors import MentorstatsError

SEED = 20260
PLAIN, FULL = 2_000, 20_000
SLOWEST, LARGEST = 10.0, 2**30  # seconds of the processor, bytes
TABLE = Path(__file__).with_suffix(".csv")
MODULES = (agreement, key_scores, mixed, reliability, calibration)
RESULT = "result"
LEVELS = ["low", "mid", "high", "top"]


# A small programme -------------------------------------------------------------------------------


def world(seed=1):
    """Long table and its companions: 8 candidates, 16 lessons, a mentor each and two supervisors."""
    rng = np.random.default_rng(seed)
    rows = []
    for candidate in range(8):
        for lesson in range(2):
            for rater, role in ((f"m{candidate % 4}", "mentor"), (f"s{candidate % 2}", "supervisor")):
                for criterion in ("aims", "talk", "task"):
                    rank = int(np.clip(round(2.5 + rng.normal() + 0.4 * (candidate - 4)), 1, 4))
                    rows.append(
                        {
                            "observation": f"o{candidate}{lesson}",
                            "placement": f"p{candidate}",
                            "candidate": f"c{candidate}",
                            "cohort": ("2024", "2025")[candidate // 4],
                            "site": ("north", "south")[candidate % 2],
                            "licensure_area": "primary",
                            "grade_band": "1-3",
                            "week": 3 + 5 * lesson,
                            "date": pd.Timestamp("2025-09-01") + pd.Timedelta(days=7 * (3 + 5 * lesson)),
                            "rater": rater,
                            "rater_role": role,
                            "rubric": "r",
                            "rubric_version": "1",
                            "criterion": criterion,
                            "rank": rank,
                            "independent": True,
                        }
                    )
    long = pd.DataFrame(rows)
    long["level"] = pd.Categorical.from_codes(long["rank"] - 1, LEVELS, ordered=True)
    long["rank"] = long["rank"].astype("Int8")
    long["missing_reason"] = pd.array([None] * len(long), dtype="str")
    return long.assign(file="ratings.csv", sheet=None, row=range(2, len(long) + 2))


def scores(seed=2):
    """A researcher's own table: every rater scored every unit."""
    rng = np.random.default_rng(seed)
    unit, rater = np.divmod(np.arange(36), 3)
    score = np.clip(np.round(1.5 + 0.1 * unit + rng.normal(size=36)), 0, 3).astype(int)
    return pd.DataFrame(
        {
            "unit": [f"u{one}" for one in unit],
            "rater": [f"r{one}" for one in rater],
            "level": score,
            "score": score + rng.normal(size=36).round(2),
            "group": [f"g{one % 4}" for one in unit],
            "half": [f"h{one // 4 % 2}" for one in unit],
            "weight": 1.0 + (unit % 3),
        }
    )


def key_ratings(seed=3):
    """Two raters, six recordings, two criteria."""
    rng = np.random.default_rng(seed)
    rows = []
    for number, rater in enumerate(("m0", "s0")):
        for recording in range(6):
            for criterion in ("aims", "talk"):
                key = int(rng.integers(4))
                own = int(np.clip(key + rng.integers(-1, 2), 0, 3))
                day = pd.Timestamp("2025-09-01") + pd.Timedelta(days=7 * recording + number)
                rows.append((rater, f"k{recording}", criterion, own, key, day))
    made = pd.DataFrame(rows, columns=["rater", "recording", "criterion", "level", "key_level", "date"])
    made = made.assign(rubric="r", rubric_version="1")
    for column in ("level", "key_level"):
        made[column] = pd.Categorical.from_codes(made[column], LEVELS, ordered=True)
    return made


def own_policy():
    """The shipped policy with the rules of certification that a programme has set; shipped they have none."""
    own = {"certification_recordings": 5, "certification_exact": 0.8}
    return policy.Policy(tuple(replace(r, value=own.get(r.id, r.value)) for r in policy.read().rules))


@functools.cache
def made(name):
    """Tables and results that calls start from, each made once."""
    long = world() if name == "long" else None
    if name == "rubrics":
        names = ["aims", "talk", "task"]
        return pd.DataFrame(
            [("r", "1", one, LEVELS[rank], rank + 1) for one in names for rank in range(4)],
            columns=["rubric", "version", "criterion", "level", "rank"],
        ).assign(label=lambda x: x["level"], weight=1.0)
    simple = {
        "long": lambda: long,
        "scores": scores,
        "key_ratings": key_ratings,
        "policy": own_policy,
        "raters": lambda: pd.DataFrame(
            {
                "rater": ["m0", "m1", "s0", "s1"],
                "role": ["mentor", "mentor", "supervisor", "supervisor"],
                "trained_on": pd.to_datetime(["2024-08-01"] * 4),
                "certified_on": pd.to_datetime(["2024-09-01", None, "2025-09-01", "2023-09-01"]),
                "expires_on": pd.to_datetime(["2025-12-01", None, None, "2024-09-01"]),
            }
        ),
        "placements": lambda: (
            made("long")[["placement", "candidate", "cohort", "site"]]
            .drop_duplicates()
            .assign(
                mentor=[f"m{one % 4}" for one in range(8)],
                supervisor=[f"s{one % 2}" for one in range(8)],
                gender=["woman", "man"] * 4,
            )
            .reset_index(drop=True)
        ),
        "observations": lambda: (
            made("long")[["observation", "placement", "date"]]
            .drop_duplicates()
            .assign(visit_mode=["in_person", "recording"] * 8)
            .reset_index(drop=True)
        ),
        "pairs": lambda: agreement.double_scored(made("long")),
        "lessons": lambda: agreement.lesson_table(made("long").iloc[:-30]).assign(
            double_scored=lambda x: [place % 3 > 0 for place in range(len(x))]
        ),
        "coefficients": lambda: agreement.coefficients(
            made("scores"), unit="unit", rater="rater", level="level", levels=[0, 1, 2, 3]
        ),
        "linear": lambda: mixed.fit(made("scores"), response="score", fixed="half", grouped="unit"),
        "smaller": lambda: mixed.fit(made("scores"), response="score", grouped="unit", method="ml"),
        "larger": lambda: mixed.fit(
            made("scores"), response="score", fixed="half", grouped="unit", method="ml"
        ),
        "ordinal": lambda: mixed.fit(
            made("scores"),
            response="level",
            fixed="half",
            grouped="unit",
            kind="ordinal",
            levels=[0, 1, 2, 3],
        ),
        "g_study": lambda: reliability.g_study(made("scores"), object="unit", facets="rater", score="score"),
        "two_facets": lambda: reliability.g_study(
            made("long")[made("long")["criterion"] == "aims"],
            object="candidate",
            facets=["week", "rater_role"],
            score="rank",
        ),
        "plans": lambda: reliability.d_study(made("g_study"), {"rater": [1, 2, 3]}, cost={"rater": 2.0}),
        "profile": lambda: reliability.profile_study(
            made("long").assign(score=lambda x: x["rank"].astype(float)),
            object="candidate",
            facets=["week", "rater_role"],
            score="score",
            by="criterion",
        ),
        "base": lambda: calibration.base_fit(made("long")),
        "drawn": lambda: calibration.redraws(made("base"), draws=100),
        "groups": lambda: calibration.candidate_groups(made("placements"), "gender"),
        "severity": lambda: calibration.severity(made("base")),
        "level_use": lambda: calibration.level_use(made("base"), made("drawn")),
        "networks": lambda: calibration.linkage(made("long")).raters,
    }
    return simple[name]()


# Valid calls -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Call:
    """A valid call: the function, its arguments, and how often it is taken against others."""

    function: object
    given: dict
    often: float = 1.0


def _own(**more):
    return {"ratings": made("scores"), "unit": "unit", "rater": "rater", "level": "level", **more}


def _declared(**more):
    return _own(levels=[0, 1, 2, 3], **more)


def _each(columns):
    return columns if isinstance(columns, list | tuple) else [columns]


@functools.cache
def calls():
    """A valid call of every public function, by name."""
    a, m, r, c = agreement, mixed, reliability, calibration
    long, base, law = made("long"), made("base"), made("policy")
    key = {"key_ratings": made("key_ratings")}
    with_scores = {"scores": made("scores"), "object": "unit", "facets": ["rater"], "score": "score"}
    margins = {"kappa": 0.6, "margins": [0.2, 0.5, 0.3]}
    everything = {
        "rubrics": made("rubrics"),
        "policy": law,
        "observations": made("observations"),
    }
    on_base = {"base": base, "drawn": made("drawn")}
    marked = {"table": made("severity"), "q": 0.05, "smallest": 0.2, "scale": "effect_level"}
    found = {
        "agreement.benchmark": Call(a.benchmark, {"value": 0.6, "se": 0.1, "scale": "landis_koch_1977"}),
        "agreement.by_level": Call(a.by_level, _declared(cluster="group")),
        "agreement.by_rater": Call(a.by_rater, {"long": long}),
        "key_scores.certificates": Call(
            key_scores.certificates,
            {"register": made("raters"), "on": datetime.date(2025, 10, 1), "raters": ["m0", "x"]},
        ),
        "key_scores.certification_rules": Call(
            key_scores.certification_rules, {"rules": law, "names": ("recordings", "exact")}
        ),
        "key_scores.certify": Call(key_scores.certify, {**key, "date": "date", "levels": LEVELS}),
        "agreement.coefficients": Call(
            a.coefficients,
            _declared(
                cluster="group",
                by="half",
                weights="linear",
                interval="percentile",
                replicates=100,
                unit_weights="weight",
                confidence=0.9,
                seed=1,
            ),
            3.0,
        ),
        "agreement.disagreement_correlation": Call(
            a.disagreement_correlation, _declared(cluster="group", weights="linear")
        ),
        "agreement.double_scored": Call(
            a.double_scored, {"long": long, "roles": ("mentor", "supervisor")}, 2.0
        ),
        "agreement.double_scores_needed": Call(
            a.double_scores_needed,
            {**margins, "half_width": 0.1, "pairs": 2, "correlation": 0.1, "lessons": 2, "weights": "linear"},
        ),
        "agreement.finn": Call(a.finn, _declared(confidence=0.9)),
        "agreement.from_codes": Call(
            a.from_codes,
            {
                "codes": made("scores")["level"].to_numpy().reshape(12, 3),
                "levels": LEVELS,
                "weights": "linear",
                "cluster": np.arange(12) % 4,
                "replicates": 100,
                "interval": "percentile",
            },
        ),
        "agreement.icc": Call(a.icc, _own(level="score", confidence=0.9)),
        "agreement.icc_incomplete": Call(
            a.icc_incomplete, _own(level="score", cluster="group", k=2, replicates=100, seed=2), 0.5
        ),
        "agreement.inverse_probability_weights": Call(
            a.inverse_probability_weights, {"lessons": made("lessons"), "columns": ["site"], "trim": 0.95}
        ),
        "agreement.kendall_w": Call(a.kendall_w, _own()),
        "agreement.lesson_table": Call(
            a.lesson_table, {"long": long, "more": made("observations")[["observation", "visit_mode"]]}
        ),
        "agreement.likeness": Call(a.likeness, {"lessons": made("lessons"), "columns": ["site", "week"]}),
        "agreement.limits_of_agreement": Call(
            a.limits_of_agreement,
            {
                **_own(level="score", cluster="group"),
                "ratings": made("scores")[made("scores")["rater"] != "r2"],
            },
        ),
        "agreement.marginal_homogeneity": Call(
            a.marginal_homogeneity,
            {**_declared(cluster="group"), "ratings": made("scores")[made("scores")["rater"] != "r2"]},
        ),
        "key_scores.operating_characteristic": Call(
            key_scores.operating_characteristic,
            {"rules": law, "n_recordings": 4, "n_criteria": 3, "key_shares": [0.25] * 4, "replicates": 20},
            0.5,
        ),
        "agreement.paired_counts": Call(a.paired_counts, _declared()),
        "agreement.paradox": Call(a.paradox, _declared(cluster="group", rules=law)),
        "agreement.partners": Call(a.partners, {"pairs": made("pairs")}),
        "agreement.precision": Call(
            a.precision, {"n_clusters": [10, 20], **margins, "pairs": 2, "correlation": 0.1, "floor": 0.4}
        ),
        "agreement.read_against": Call(
            a.read_against, {"found": made("coefficients"), "scale": "landis_koch_1977", "probability": 0.9}
        ),
        "agreement.reporting_items": Call(
            a.reporting_items, {"found": made("coefficients"), "long": long, "raters": made("raters")}
        ),
        "agreement.stacked": Call(a.stacked, {"pairs": made("pairs"), "names": ("one", "two")}),
        "agreement.survey": Call(a.survey, {"long": long, **everything}, 0.03),
        "key_scores.survey": Call(
            key_scores.survey, {"long": long, "key_ratings": made("key_ratings"), "policy": law}, 0.03
        ),
        "mixed.by": Call(
            lambda columns, **more: m.by(*_each(columns), **more), {"columns": ["a", "b"], "slope": "w"}
        ),
        "mixed.fit": Call(
            m.fit,
            {
                "data": made("scores"),
                "response": "score",
                "fixed": ["half"],
                "grouped": ["unit"],
                "weights": "weight",
                "reference": {"half": "h1"},
                "confidence": 0.9,
            },
            2.0,
        ),
        "mixed.fit (ordinal)": Call(
            m.fit,
            {
                "data": made("scores"),
                "response": "level",
                "fixed": ["half"],
                "grouped": ["unit"],
                "kind": "ordinal",
                "levels": [0, 1, 2, 3],
                "link": "probit",
                "scale": (),
                "quadrature_points": 1,
            },
            1.0,
        ),
        "mixed.likelihood_ratio": Call(
            m.likelihood_ratio, {"smaller": made("smaller"), "larger": made("larger")}, 0.2
        ),
        "mixed.product": Call(lambda columns: m.product(*_each(columns)), {"columns": ["a", "b"]}, 0.2),
        "mixed.spline": Call(m.spline, {"column": "a", "df": 3}, 0.2),
        "reliability.change_study": Call(
            r.change_study,
            {
                "study": made("two_facets"),
                "sizes": {"rater_role": [1, 2]},
                "occasion": "week",
            },
            0.5,
        ),
        "reliability.cheapest": Call(r.cheapest, {"plans": made("plans"), "target": 0.3}),
        "reliability.composite": Call(
            r.composite,
            {
                "study": made("profile"),
                "weights": {"aims": 1.0, "talk": 1.0, "task": 2.0},
                "sizes": {"week": 3, "rater_role": 2},
            },
            0.5,
        ),
        "reliability.d_study": Call(
            r.d_study,
            {"study": made("g_study"), "sizes": {"rater": [1, 2]}, "cut": 1.5, "cost": {"rater": 2.0}},
        ),
        "reliability.g_study": Call(r.g_study, {**with_scores, "limits": "one_step", "seed": 3}, 2.0),
        "reliability.g_study (reml)": Call(
            r.g_study,
            {**with_scores, "method": "reml", "covariates": ["weight"], "beside": ["group"]},
            0.6,
        ),
        "reliability.profile_study": Call(
            r.profile_study,
            {
                "scores": long,
                "object": "candidate",
                "facets": ["week", "rater_role"],
                "score": "rank",
                "by": "criterion",
            },
            0.4,
        ),
        "reliability.survey": Call(r.survey, {"long": long, "rubrics": made("rubrics"), "policy": law}, 0.02),
        "calibration.adjusted_scores": Call(c.adjusted_scores, {"base": base, "cut": 2.5}, 0.2),
        "calibration.assignment_check": Call(c.assignment_check, {"base": base, "level": 0.05}, 0.2),
        "key_scores.average_run_length": Call(
            key_scores.average_run_length, {"smoothing": 0.2, "width": 2.9, "shift": 0.5}
        ),
        "calibration.base_fit": Call(c.base_fit, {"long": long, "confidence": 0.9}, 0.6),
        "calibration.by_version": Call(c.by_version, {"ratings": long[:48], "fewest_lessons": 2}, 0.5),
        "calibration.candidate_groups": Call(
            c.candidate_groups, {"placements": made("placements"), "field": "gender"}
        ),
        "calibration.central_tendency": Call(c.central_tendency, on_base, 0.1),
        "key_scores.control_charts": Call(
            key_scores.control_charts, {**key, "levels": LEVELS, "replicates": 50, "smoothing": 0.2}, 0.3
        ),
        "calibration.criterion_fit": Call(c.criterion_fit, {**on_base, "kind": "response"}, 0.1),
        "calibration.drift": Call(c.drift, {"base": base, "per": "week"}, 0.2),
        "calibration.drift_between": Call(c.drift_between, {"base": base, "per": "cycle"}, 0.2),
        "calibration.expected_by_chance": Call(c.expected_by_chance, marked),
        "calibration.fairness": Call(
            c.fairness, {"base": base, "groups": made("groups"), "policy": law, "reference": "man"}, 0.4
        ),
        "calibration.halo": Call(c.halo, on_base, 0.1),
        "calibration.in_common": Call(c.in_common, {"ratings": long, "by": "cohort"}),
        "calibration.is_own_mentor": Call(c.is_own_mentor, {"rows": long, "placements": made("placements")}),
        "key_scores.key_trend": Call(key_scores.key_trend, {**key, "levels": LEVELS, "by": "criterion"}, 0.5),
        "calibration.level_use": Call(c.level_use, on_base, 0.1),
        "calibration.linkage": Call(c.linkage, {"ratings": long, "fewest_lessons": 2}, 0.7),
        "calibration.flag": Call(c.flag, marked),
        "calibration.mean_squares": Call(
            c.mean_squares,
            {
                "observed": np.ones((3, 4)),
                "expected": np.full((3, 4), 1.2),
                "variance": np.ones((3, 4)),
                "fourth": np.full((3, 4), 3.0),
                "axis": 0,
            },
        ),
        "calibration.never_used": Call(c.never_used, {"found": made("level_use")}),
        "calibration.own_mentor_difference": Call(
            c.own_mentor_difference, {"base": base, "own_mentor": [True, False] * 48}, 0.2
        ),
        "calibration.range_restriction": Call(c.range_restriction, on_base, 0.1),
        "calibration.rating_fit": Call(c.rating_fit, on_base, 0.1),
        "calibration.redraws": Call(c.redraws, {"base": base, "draws": 100, "seed": 1}, 0.2),
        "calibration.refit_drift": Call(c.refit_drift, {"base": base, "raters": ["m0"], "per": "week"}, 0.05),
        "calibration.same_instrument": Call(
            c.same_instrument, {"base": base, "policy": law, "by": "rater_role", "refit": False}, 0.2
        ),
        "calibration.separation": Call(
            c.separation, {"base": base, "raters": made("severity"), "refit": False}, 0.3
        ),
        "calibration.severity": Call(c.severity, {"base": base, "networks": made("networks")}, 0.4),
        "calibration.survey": Call(
            c.survey,
            {
                "long": long,
                "policy": law,
                "placements": made("placements"),
                "observations": made("observations"),
            },
            0.01,
        ),
        "calibration.flags": Call(
            c.flags, {"tables": {"severity": made("severity")}, "policy": law, "not_ignorable": ()}, 0.5
        ),
    }
    linear, ordinal = made("linear"), made("ordinal")
    methods = {
        "effects": (linear.effects, {"name": "unit"}),
        "means": (ordinal.means, {"of": "half", "scale": "probability"}),
        "contrasts": (linear.contrasts, {"of": "half", "adjust": "holm"}),
        "predict": (linear.predict, {"data": made("scores"), "random": True}),
        "simulate": (linear.simulate, {"n": 2, "seed": 1}),
        "bootstrap": (linear.bootstrap, {"replicates": 20, "seed": 1}),
        "residuals": (ordinal.residuals, {"seed": 1}),
        "level_counts": (ordinal.level_counts, {"by": "half"}),
        "proportional_odds": (ordinal.proportional_odds, {"column": "half"}),
        "influence": (linear.influence, {"name": "unit"}),
    }
    rare = {"bootstrap": 0.05, "proportional_odds": 0.1, "influence": 0.2}
    return found | {
        f"mixed.Fit.{name}": Call(function, given, rare.get(name, 0.5))
        for name, (function, given) in methods.items()
    }


ERRORS = {
    "AnalysisError",
    "ArgumentError",
    "ColumnError",
    "DuplicateRatingError",
    "ModelError",
    "NothingUsableError",
    "PolicyError",
    "SourceFileError",
}


def public():
    """Names of all public functions, which the calls must cover."""
    return {
        f"{module.__name__.rpartition('.')[2]}.{name}"
        for module in MODULES
        for name in module.__all__
        if inspect.isfunction(getattr(module, name))
    }


NAMES = tuple(calls())


# What spoils a table -----------------------------------------------------------------------------


def _some_column(frame, rng):
    return frame.columns[rng.integers(len(frame.columns))] if len(frame.columns) else None


def _cast(kind):
    def spoil(frame, column):
        try:
            return frame.assign(**{column: frame[column].astype(kind)})
        except (TypeError, ValueError):
            return frame.assign(
                **{column: pd.Series(pd.factorize(frame[column])[0]).set_axis(frame.index).astype(kind)}
            )

    return spoil


def _filled(*values):
    def spoil(frame, column):
        cells = [values[place % len(values)] for place in range(len(frame))]
        return frame.assign(**{column: pd.Series(cells, index=frame.index, dtype="object")})

    return spoil


def _some_cells(value):
    def spoil(frame, column):
        cells = frame[column].astype(object).tolist()
        cells[:: max(len(cells) // 3, 1)] = [value for _ in cells[:: max(len(cells) // 3, 1)]]
        return frame.assign(**{column: pd.Series(cells, index=frame.index, dtype="object").infer_objects()})

    return spoil


def _constant(frame, column):
    return frame.assign(**{column: frame[column].iloc[[0] * len(frame)].to_numpy()}) if len(frame) else frame


def _codes(kind, shift=0):
    def spoil(frame, column):
        codes = pd.factorize(frame[column], sort=False)[0] + 1 + shift
        return frame.assign(**{column: pd.Series(codes, index=frame.index).astype(kind)})

    return spoil


COLUMN = {
    "all missing": _filled(None),
    "all nan": lambda f, c: f.assign(**{c: np.nan}),
    "some missing": _some_cells(None),
    "some NA": _some_cells(pd.NA),
    "object": _cast("object"),
    "text": _cast("str"),
    "category": _cast("category"),
    "unordered levels": lambda f, c: f.assign(**{c: f[c].astype("str").astype("category")}),
    "unused categories": lambda f, c: f.assign(
        **{c: pd.Categorical(f[c].astype("str"), [*f[c].astype("str").unique(), "zz", "yy"], ordered=True)}
    ),
    "bool": lambda f, c: f.assign(**{c: [place % 2 == 0 for place in range(len(f))]}),
    "yes and no": _filled("yes", "no"),
    "Int8": _codes("Int8"),
    "uint8": _codes("uint8"),
    "uint64": _codes("uint64"),
    "float32": _codes("float32"),
    "negative": _codes("int64", -100),
    "huge": _codes("int64", 10**9),
    "huger": lambda f, c: f.assign(**{c: 1e300 * (1 + pd.factorize(f[c])[0])}),
    "beyond": _filled(2**70, 1),
    "half": lambda f, c: f.assign(**{c: pd.factorize(f[c])[0] + 0.5}),
    "infinite": lambda f, c: f.assign(**{c: [np.inf if p % 5 == 0 else 1.0 for p in range(len(f))]}),
    "some nan": lambda f, c: f.assign(**{c: [np.nan if p % 5 == 0 else float(p) for p in range(len(f))]}),
    "complex": _codes("complex128"),
    "dates": lambda f, c: f.assign(**{c: pd.date_range("2025-01-01", periods=len(f))}),
    "zoned dates": lambda f, c: f.assign(**{c: pd.date_range("2025-01-01", periods=len(f), tz="UTC")}),
    "durations": lambda f, c: f.assign(**{c: pd.to_timedelta(range(len(f)), unit="D")}),
    "periods": lambda f, c: f.assign(**{c: pd.period_range("2025-01", periods=len(f), freq="M")}),
    "lists": _filled([1], [2]),
    "dicts": _filled({}, {"a": 1}),
    "one list": _some_cells([1, 2]),
    "tuples": _filled((1, 2), (3,)),
    "sets": _filled({1}),
    "frozensets": _filled(frozenset({1})),
    "functions": _filled(len, print),
    "bytes": _filled(b"a", b"b"),
    "mixed": _filled(1, "1", 2.0, None, True),
    "decimal text": _filled("1", "2.5", "x"),
    "empty text": _filled(""),
    "long text": _filled("x" * 5000, "y"),
    "control": _filled("a\x00b", "a\x1b[31m", "\ud800"),
    "one value": _constant,
    "each its own": lambda f, c: f.assign(**{c: [f"v{place}" for place in range(len(f))]}),
    "arrow": lambda f, c: f.assign(**{c: f[c].astype("str").astype("string[pyarrow]")}),
    "arrow numbers": lambda f, c: f.assign(
        **{c: pd.Series(pd.factorize(f[c])[0], index=f.index).astype("int64[pyarrow]")}
    ),
    "gone": lambda f, c: f.drop(columns=[c]),
    "renamed": lambda f, c: f.rename(columns={c: 5}),
    "twice": lambda f, c: pd.concat([f, f[[c]]], axis=1),
    "named by index": lambda f, c: f.rename_axis([c] * f.index.nlevels),
    "in the index": lambda f, c: f.set_index(c),
}

WHOLE = {
    "no rows": lambda f: f.iloc[:0],
    "no columns": lambda f: f[[]],
    "nothing": lambda f: pd.DataFrame(),
    "one row": lambda f: f.iloc[:1],
    "two rows": lambda f: f.iloc[:2],
    "half the rows": lambda f: f.iloc[: len(f) // 2],
    "every third": lambda f: f.iloc[::3],
    "rows twice": lambda f: pd.concat([f, f]),
    "same index": lambda f: f.set_axis([7] * len(f)),
    "missing index": lambda f: f.set_axis([None] * len(f)),
    "index of lists": lambda f: f.set_axis(pd.Index([(1, 2)] * len(f), tupleize_cols=False)),
    "several index": lambda f: f.set_axis(
        pd.MultiIndex.from_product([[1], range(len(f))], names=["rater", "level"])
    ),
    "several columns": lambda f: f.set_axis(pd.MultiIndex.from_product([["a"], f.columns]), axis=1),
    "numbered columns": lambda f: f.set_axis(range(f.shape[1]), axis=1),
    "objects": lambda f: f.astype("object"),
    "texts": lambda f: f.astype("str"),
    "categories": lambda f: f.astype("category"),
    "all missing": lambda f: f.map(lambda value: None),
    "None": lambda f: None,
    "dict": lambda f: f.to_dict("list"),
    "list": lambda f: f.to_dict("records"),
    "array": lambda f: f.to_numpy(),
    "a column": lambda f: f.iloc[:, 0] if f.shape[1] else pd.Series(),
    "text": lambda f: "ratings.csv",
    "number": lambda f: 3,
    "class": lambda f: pd.DataFrame,
}

OTHER = [
    None,
    0,
    -1,
    1,
    2,
    0.0,
    0.5,
    1.0,
    -0.5,
    1.5,
    1e-300,
    1e300,
    10**9,
    2**70,
    float("nan"),
    float("inf"),
    float("-inf"),
    "a",
    "",
    "level",
    "rater",
    "nothing like it",
    True,
    False,
    [],
    (),
    {},
    [None],
    [[1, 2]],
    ["rater", "rater"],
    ["low", "low"],
    ["top", "high", "mid", "low"],
    [3, 2, 1, 0],
    [0, 1],
    {"rater": 0},
    {"rater": -1},
    {"rater": [1, 10**6]},
    {"rater": float("nan")},
    {"nothing": 1},
    {"rater": "rater"},
    {1: 2},
    {0, 1, 2, 3},
    np.eye(2),
    np.eye(4),
    np.ones((4, 3)),
    np.full((4, 4), np.nan),
    np.array([]),
    np.array(["a", "b"]),
    np.array([1, 2], dtype="uint8"),
    np.array([[300, 2], [1, 1]], dtype="uint16"),
    np.array([[2**63, 2], [1, 1]], dtype="uint64"),
    np.array([1 + 1j]),
    pd.Series([1.0, 2.0]),
    pd.Series(["a", "b"], index=["x", "x"]),
    pd.DataFrame({"a": [1]}),
    pd.NaT,
    pd.NA,
    1j,
    b"a",
    object(),
    len,
    datetime.date(2025, 1, 1),
    datetime.datetime(2025, 1, 1, tzinfo=datetime.UTC),
    range(3),
    np.float32(0.5),
    np.int8(-1),
    "\ud800",
    "x" * 5000,
]


def spoiled(call, rng):
    """Arguments of a call, one or two of them spoiled, and in words how."""
    given, how = dict(call.given), []
    for _ in range(1 + (rng.random() < 0.25)):
        names = list(given)
        tables = [name for name in names if isinstance(given[name], pd.DataFrame)]
        bases = [name for name in names if isinstance(given[name], calibration.Base)]
        if tables and rng.random() < 0.75:
            name = tables[rng.integers(len(tables))]
            given[name], what = _spoiled_table(given[name], rng)
        elif bases and rng.random() < 0.25:
            table, what = _spoiled_table(made("long"), rng)
            name = bases[0]
            given[name] = calibration.base_fit(table)
            given.pop("drawn", None)
        else:
            name = names[rng.integers(len(names))]
            place = int(rng.integers(len(OTHER)))
            given[name], what = OTHER[place], f"value {place}"
        how.append(f"{name}: {what}")
    return given, "; ".join(how)


def _spoiled_table(frame, rng):
    if rng.random() < 0.3 or not frame.shape[1]:
        what = list(WHOLE)[rng.integers(len(WHOLE))]
        change, given = WHOLE[what], (frame,)
    else:
        column = _some_column(frame, rng)
        name = list(COLUMN)[rng.integers(len(COLUMN))]
        if not isinstance(column, str) or not frame.columns.is_unique:
            return frame, "as it is"
        change, given, what = COLUMN[name], (frame, column), f"{column} {name}"
    try:
        return change(*given), what
    except (TypeError, ValueError):  # this change cannot be made to what another one left
        return frame, "as it is"


# Running -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """What one case came to; ``failure`` says what is not allowed, and is empty where all is."""

    number: int
    function: str
    how: str
    outcome: str
    seconds: float
    failure: str = ""


def case(number):
    """Run one case; the same number gives the same case."""
    rng = np.random.default_rng([SEED, number])
    every = calls()
    shares = np.array([call.often for call in every.values()])
    name = list(every)[rng.choice(len(shares), p=shares / shares.sum())]
    begun, how, failure = time.process_time(), "", ""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            given, how = spoiled(every[name], rng)
            every[name].function(**given)
        outcome = RESULT
    except MentorstatsError as error:
        outcome = type(error).__name__
    except Exception as error:  # noqa: BLE001  # what the cases look for
        outcome, failure = type(error).__name__, traceback.format_exc()
    seconds = time.process_time() - begun
    if seconds > SLOWEST:
        failure = f"{failure}\ntook {seconds:.1f} s"
    return Case(number, name, how, outcome, seconds, failure)


def run(numbers):
    """Run cases; one that takes the process beyond a gigabyte is a failure of that case."""
    calls()
    at_start, found = _peak(), []
    for number in numbers:
        one = case(number)
        if _peak() - at_start > LARGEST:
            one, at_start = replace(one, failure=f"{one.failure} took over a gigabyte"), _peak()
        found.append(one)
    return found


def _peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def counted(cases):
    """Outcomes by function."""
    counts = Counter((one.function, one.outcome) for one in cases)
    table = pd.Series(counts).unstack(fill_value=0).astype(int)
    table = table[[RESULT, *sorted(set(table.columns) - {RESULT})]].sort_index()
    table.insert(0, "cases", table.sum(axis=1))
    return table.rename_axis("function")


if __name__ == "__main__":
    everything = run(range(FULL))
    counted(everything).to_csv(TABLE)
    for one in everything:
        if one.failure:
            print(one.number, one.function, one.how, one.failure, sep="\n", end="\n\n")
