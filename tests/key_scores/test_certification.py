"""Raters against a key: measures by recording, verdicts by interval, refusals by name, expiry by register."""

import math
import tomllib
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from mentorstats import demo, places, policy
from mentorstats.agreement import coefficients
from mentorstats.errors import (
    ArgumentError,
    ColumnError,
    DuplicateRatingError,
    MentorstatsWarning,
    PolicyError,
)
from mentorstats.key_scores import (
    accuracy,
    certificates,
    certification_rules,
    certify,
    operating_characteristic,
    verdicts,
)
from mentorstats.policy import Policy
from mentorstats.sources import SOURCES

ALL = tuple(verdicts.WORDS)


def vocabulary(name):
    text = (places.data_dictionary() / "vocabulary" / name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def scores(recordings, exact, criteria=5, seed=0, rater="r"):
    """One rater's ratings of keyed recordings: exact with that chance, else one level off."""
    rng = np.random.default_rng(seed)
    key = rng.choice([1, 2, 3, 4], (recordings, criteria), p=[0.1, 0.3, 0.4, 0.2])
    off = np.where(key == 4, -1, np.where(key == 1, 1, rng.choice([-1, 1], key.shape)))
    level = key + np.where(rng.random(key.shape) < exact, 0, off)
    recording, criterion = np.indices(key.shape)
    return pd.DataFrame(
        {
            "rater": rater,
            "recording": [f"v{n}" for n in recording.ravel()],
            "criterion": [f"c{n}" for n in criterion.ravel()],
            "level": level.ravel(),
            "key_level": key.ravel(),
            "date": pd.Timestamp("2026-08-20"),
        }
    )


OWN = {
    "recordings": 5,
    "exact": 0.8,
    "adjacent": 0.95,
    "largest_discrepancy": 1,
    "criterion_floor": 0.5,
    "kappa": 0.7,
}


def programme_rules(names=("recordings", "exact")):
    """Rows of the shipped policy with the values that a programme has set."""
    shipped = policy.read()
    return [replace(shipped.rule(f"certification_{name}"), value=OWN[name]) for name in names]


def found(frame, **how):
    return certify(frame, levels=[1, 2, 3, 4], **{"rules": programme_rules(), **how})


@given(
    arrays.arrays(
        float, st.tuples(st.integers(1, 9), st.integers(1, 7)), elements=st.integers(-3, 3).map(float)
    )
)
@settings(max_examples=200, deadline=None)
def test_the_four_components_sum_to_the_mean_squared_error(distance):
    assert math.fsum(accuracy.cronbach(distance).values()) == pytest.approx((distance**2).mean(), abs=1e-12)


def test_the_components_are_those_of_the_means():
    """By Cronbach's own expressions in the two sets of scores, not in their differences."""
    frame = scores(9, 0.5)
    x = frame.pivot(index="recording", columns="criterion", values="level").to_numpy(float)
    m = frame.pivot(index="recording", columns="criterion", values="key_level").to_numpy(float)

    def parts(t):
        rows, columns = t.mean(axis=1, keepdims=True), t.mean(axis=0, keepdims=True)
        return t.mean(), rows - t.mean(), columns - t.mean(), t - rows - columns + t.mean()

    expected = [((a - b) ** 2).mean() for a, b in zip(parts(x), parts(m), strict=True)]
    value = found(frame).measures.loc["r", "value"]
    assert value[list(accuracy.COMPONENTS)].tolist() == pytest.approx(expected, abs=1e-12)
    assert sum(expected) == pytest.approx(value["mean_squared_error"], abs=1e-12)


def test_a_gap_leaves_no_components():
    measures = found(scores(9, 0.5).drop(index=3)).measures.loc["r"]
    gone = measures.loc[list(accuracy.COMPONENTS)]
    assert (gone["status"] == "not_identified").all()
    assert gone["value"].isna().all()
    assert not math.isnan(measures.loc["mean_squared_error", "value"])


def test_agreement_is_that_of_coefficients_clustered_by_recording():
    frame = scores(25, 0.7)
    long = pd.concat(
        [frame.assign(who="rater"), frame.assign(who="key", level=frame["key_level"])], ignore_index=True
    )
    expected = coefficients(
        long, unit=["recording", "criterion"], rater="who", level="level", levels=[1, 2, 3, 4],
        weights="quadratic", cluster="recording",
    )  # fmt: skip
    measures = found(frame).measures.loc["r"]
    for ours, theirs in (
        ("exact", "percent_agreement"),
        ("adjacent", "percent_adjacent"),
        ("weighted_kappa", "cohen_kappa"),
    ):
        numbers = ["value", "se", "low", "high", "p_expected", "n_clusters"]
        assert measures.loc[ours, numbers].astype(float).tolist() == pytest.approx(
            expected.loc[theirs, numbers].astype(float).tolist(), nan_ok=True
        )


def test_bias_and_distance():
    frame = scores(25, 0.6)
    d = (frame["level"] - frame["key_level"]).astype(float)
    measures = found(frame).measures.loc["r"]
    assert measures.loc["bias", "value"] == pytest.approx(d.mean())
    assert measures.loc["mean_absolute_error", "value"] == pytest.approx(d.abs().mean())
    assert measures.loc["largest_discrepancy", "value"] == 1
    of_recording = d.groupby(frame["recording"]).mean()
    assert measures.loc["bias", "se"] == pytest.approx(of_recording.std() / 5)
    by_criterion = found(frame).by_criterion.loc["r", "value"]
    exact = (d == 0).groupby(frame["criterion"]).mean()
    assert by_criterion.to_dict() == pytest.approx(exact.to_dict())
    assert measures.loc["criterion_floor", "value"] == exact.min()
    assert f"Criterion {exact.idxmin()}." in measures.loc["criterion_floor", "status_note"]


def test_every_table_keeps_to_the_closed_lists():
    frame = pd.concat([scores(25, 0.6), scores(4, 0.9, rater="s"), scores(25, 1.0, rater="t")])
    result = found(frame, rules=programme_rules(names=ALL))
    columns = set(vocabulary("result_columns.toml"))
    register = pd.DataFrame({"rater": ["r"], "certified_on": ["2026-01-01"], "expires_on": [None]})
    others = [
        certificates(register, on=date(2026, 8, 1)),
        operating_characteristic(programme_rules(), 9, 3, key_shares=[0.5, 0.5], replicates=5),
    ]
    for table in (result.verdicts, result.measures, result.by_criterion, *others):
        assert set(table.columns) <= columns
    assert set(result.measures["status"]) <= set(vocabulary("statuses.toml"))
    assert set(result.measures["reference"]) - {""} <= set(SOURCES)
    listed = vocabulary("verdicts.toml")
    assert [verdict.value for verdict in verdicts.Verdict] == list(listed["verdict"])


@pytest.mark.parametrize("seed", [demo.SEED, 11, 12])
def test_planted_verdicts_come_back(seed):
    """A rater planted to pass, one to fail and one with too few recordings, by the programme's rules."""
    invented = demo.programme(seed)
    result = certify(
        invented.key_ratings,
        criterion=["rubric", "rubric_version", "criterion"],
        date="date",
        rules=programme_rules(),
    )
    truth = invented.truth.certified.set_index("rater")
    planted = truth["verdict"].dropna()
    assert result.verdicts["verdict"][planted.index].to_dict() == planted.to_dict()
    assert result.verdicts["n_recordings"].to_dict() == truth["recordings"].to_dict()
    exact = result.measures.xs("exact", level="measure")
    for rater, row in truth[truth["recordings"] > 8].iterrows():
        assert abs(exact.loc[rater, "value"] - row["exact"]) < 3.5 * exact.loc[rater, "se"]


def one(frame, *names, **changed):
    rules = programme_rules(names=names)
    rules = [
        policy.Rule(**{**{k: getattr(r, k) for k in policy.Rule.__slots__}, "value": changed.get(n, r.value)})
        for n, r in zip(names, rules, strict=True)
    ]
    return found(frame, rules=rules).verdicts.iloc[0]


def test_the_verdict_is_by_the_interval():
    near = scores(12, 0.85)
    row = one(near, "recordings", "exact")
    assert row.verdict == "undecided"
    assert "the interval includes the threshold" in row.reason
    assert one(near, "recordings", "exact", exact=0.5).verdict == "pass"
    assert one(near, "recordings", "exact", exact=0.99).verdict == "fail"
    few = one(near, "recordings", "exact", recordings=13)
    assert (few.verdict, few.reason) == ("too_few", "12 recordings scored; the rules ask for >= 13.")


def test_no_interval_is_too_few_and_says_why():
    row = one(scores(6, 0.2), "recordings", "exact")
    assert row.verdict == "too_few"
    assert "an interval needs at least 8" in row.reason


def test_a_missed_rule_outweighs_an_open_one():
    frame = scores(12, 0.85)
    frame.loc[0, ["level", "key_level"]] = [1, 4]
    row = one(frame, "exact", "largest_discrepancy")
    assert row.verdict == "fail"
    assert row.reason == "Missed: largest difference from the expert score <= 1."
    assert one(frame, "exact", "largest_discrepancy", exact=0.3, largest_discrepancy=3).verdict == "pass"


def test_perfect_raters_need_recordings_too():
    assert one(scores(17, 1.0), "exact").verdict == "pass"
    assert one(scores(16, 1.0), "exact").verdict == "undecided"


def test_kappa_and_floor():
    good, bad = scores(60, 0.95), scores(60, 0.5)
    assert one(good, "kappa", "criterion_floor").verdict == "pass"
    assert one(bad, "criterion_floor", criterion_floor=0.9).verdict == "fail"
    same = good.assign(level=2)
    assert one(same, "kappa").verdict == "too_few"
    assert "single level" in one(same, "kappa").reason


def test_a_recording_scored_before_is_refused_by_name():
    first = scores(10, 0.9)
    later = first[first["recording"] == "v3"].assign(date=pd.Timestamp("2027-08-20"))
    both = pd.concat([first, later], ignore_index=True)
    with pytest.raises(ArgumentError, match="had scored a recording before: r, v3"):
        found(both, date="date")
    kept = found(both, date="date", repeats="leave_out")
    assert kept.verdicts.loc["r", ["n_recordings", "n_refused"]].tolist() == [10, 5]
    pd.testing.assert_frame_equal(kept.measures, found(first).measures)
    with pytest.raises(DuplicateRatingError, match="more than once: r, v3, c0"):
        found(both)
    other = pd.concat([first, later.assign(rater="s")], ignore_index=True)
    assert found(other, date="date").verdicts.index.tolist() == ["r", "s"]


def test_a_row_without_a_level_is_left_out_and_counted():
    frame = scores(10, 0.9).astype({"level": float})
    frame.loc[[0, 7], "level"] = math.nan
    row = found(frame).verdicts.loc["r"]
    assert (row.n_left_out, row.n_ratings) == (2, 48)
    nothing = found(frame.assign(level=math.nan))
    assert nothing.verdicts["verdict"].tolist() == ["too_few"]
    assert nothing.measures.empty


def test_the_order_of_rows_means_nothing():
    frame = pd.concat([scores(12, 0.7, rater="b"), scores(12, 0.9, seed=1, rater="a")], ignore_index=True)
    result, shuffled = found(frame), found(frame.sample(frac=1, random_state=1))
    pd.testing.assert_frame_equal(result.verdicts, shuffled.verdicts)
    pd.testing.assert_frame_equal(
        result.measures.sort_index(), shuffled.measures.sort_index(), check_exact=False
    )


def test_bad_input_is_refused():
    frame = scores(9, 0.9)
    with pytest.raises(ColumnError, match="no column 'key_level'"):
        found(frame.drop(columns="key_level"))
    with pytest.raises(ArgumentError, match="unknown repeats"):
        found(frame, repeats="maybe")
    with pytest.raises(ArgumentError, match="not declared"):
        certify(frame, levels=[1, 2])
    with pytest.raises(ArgumentError, match="levels are not declared"):
        certify(frame)
    with pytest.raises(ArgumentError, match="no day in 45 rows"):
        found(frame.assign(date=pd.NaT), date="date")


def test_rules_that_are_none_are_refused():
    shipped = policy.read()
    with pytest.raises(ArgumentError, match="no rule of certification"):
        found(scores(9, 0.9), rules=[shipped.rule("confidence")])
    with pytest.raises(ArgumentError, match="anything but recordings"):
        found(scores(9, 0.9), rules=programme_rules(names=["recordings"]))
    with pytest.raises(PolicyError, match="no rule 'certification_recordings'"):
        found(scores(9, 0.9), rules=Policy(()))
    turned = [
        policy.Rule(**{**{k: getattr(r, k) for k in policy.Rule.__slots__}, "inequality": "<="})
        for r in programme_rules(names=["exact"])
    ]
    with pytest.raises(ArgumentError, match=r"asks for <= 0\.8"):
        found(scores(9, 0.9), rules=turned)


def test_the_shipped_policy_sets_no_rule_and_nobody_is_judged():
    assert certification_rules() == ()
    result = found(scores(9, 0.9), rules=None)
    assert set(result.verdicts["verdict"]) == {"no_rules"}
    assert result.measures["value"].notna().any()
    with pytest.raises(ArgumentError, match="no rule of certification has a value"):
        operating_characteristic(None, 9, 3, key_shares=[0.5, 0.5])


def test_rules_of_adjacent_agreement_alone_warn():
    with pytest.warns(MentorstatsWarning, match="blind raters reach too"):
        found(scores(9, 0.9), rules=programme_rules(names=["adjacent"]))


CLUMPED = (0.05, 0.45, 0.48, 0.02)  # of practice: two blind raters agree .44 exactly and .93 within one


def test_the_operating_characteristic_tells_raters_apart():
    table = operating_characteristic(programme_rules(), 24, 8, key_shares=CLUMPED, replicates=200, seed=1)
    assert table.index.tolist() == ["60 % exact", "70 % exact", "80 % exact", "90 % exact", "blind"]
    assert table.loc["blind", "exact"] == pytest.approx(0.4358)
    assert table["p_pass"].iloc[:4].is_monotonic_increasing
    assert table.loc["90 % exact", "p_pass"] > 0.9
    assert table.loc["80 % exact", "p_pass"] < 0.06  # half of 5 %, and Monte Carlo error .011
    assert table.loc["blind", "p_fail"] == 1
    sums = table[["p_pass", "p_fail", "p_too_few"]].sum(axis=1)
    assert sums.tolist() == pytest.approx([1.0] * 5)
    assert ((table["low"] <= table["p_pass"]) & (table["p_pass"] <= table["high"])).all()
    again = operating_characteristic(programme_rules(), 24, 8, key_shares=CLUMPED, replicates=200, seed=1)
    pd.testing.assert_frame_equal(table, again)


def test_adjacent_rules_pass_the_blind():
    lenient = [
        policy.Rule(**{**{k: getattr(r, k) for k in policy.Rule.__slots__}, "value": 0.8})
        for r in programme_rules(names=["adjacent"])
    ]
    with pytest.warns(MentorstatsWarning):
        table = operating_characteristic(
            lenient, 24, 8, key_shares=CLUMPED, exact=[0.6], replicates=60, seed=1
        )
    assert table.loc["blind", "p_pass"] > 0.9


def test_the_characteristic_is_that_of_certify():
    """Raters drawn and handed to `certify` as a table pass as often as the simulation says."""
    table = operating_characteristic(
        programme_rules(), 12, 5, key_shares=[0.1, 0.3, 0.4, 0.2], exact=[0.93], replicates=300, seed=2
    )
    frames = [scores(12, 0.93, seed=n, rater=f"r{n:03d}") for n in range(300)]
    passed = (found(pd.concat(frames, ignore_index=True)).verdicts["verdict"] == "pass").mean()
    assert passed == pytest.approx(table["p_pass"].iloc[0], abs=0.12)  # three errors of a difference


def test_alike_recordings_make_verdicts_harder():
    passed = [
        operating_characteristic(
            programme_rules(), 24, 8, key_shares=CLUMPED, exact=[0.88], replicates=150, correlation=r, seed=3
        )["p_pass"].iloc[0]
        for r in (0.0, 0.3)
    ]
    assert passed[1] < passed[0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"key_shares": [0.5, 0.6]}, "no shares"),
        ({"exact": [80]}, "no fractions"),
        ({"correlation": 1.0}, "no fractions"),
        ({"replicates": 0}, "replicates is 0"),
    ],
)
def test_an_impossible_simulation_is_refused(change, message):
    with pytest.raises(ArgumentError, match=message):
        operating_characteristic(programme_rules(), 9, 3, **{"key_shares": [0.5, 0.5], **change})


def test_certificates_on_a_day():
    register = pd.DataFrame(
        {
            "rater": list("abcde"),
            "certified_on": pd.to_datetime(["2025-08-01", "2022-08-01", "2027-01-01", None, "2025-08-01"]),
            "expires_on": pd.to_datetime(["2026-08-20", "2026-08-19", "2030-01-01", None, None]),
        }
    )
    table = certificates(register, on=date(2026, 8, 20), raters=[*"abcde", "z"])
    assert table["standing"].tolist() == ["valid", "expired", "not_yet", "never", "valid", "never"]
    assert table["days_left"].tolist()[:2] == [0, -1]
    assert table["days_left"].isna().tolist() == [False, False, False, True, True, True]
    assert set(table["standing"]) == set(vocabulary("verdicts.toml")["standing"])
    assert (
        certificates(demo.programme().raters, on=date(2026, 1, 1))["standing"]
        .isin(["valid", "expired", "never"])
        .all()
    )
    with pytest.raises(ArgumentError, match="'a' stands in it twice"):
        certificates(pd.concat([register, register]), on=date(2026, 8, 20))
