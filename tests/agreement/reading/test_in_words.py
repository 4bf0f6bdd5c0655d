"""Words are those that the policy chose, their probabilities those of the source's formula; alarms go."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from paired import pairs, rubrics
from scipy import stats

from mentorstats import policy
from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.reading import in_words
from mentorstats.errors import ArgumentError, PolicyError

CLOSE = 1e-12  # the same formula in another order


def choosing(scale):
    rules = policy.read().rules
    return policy.Policy(tuple(replace(r, choice=scale) if r.id == in_words.WORDS else r for r in rules))


MIXED = [[9, 4, 1], [5, 12, 3], [0, 6, 20]]


def test_probabilities_are_those_of_the_formula():
    """[gwet_2014], chapter 6: normal on the coefficient's own scale, cut to its range."""
    found = by_version.by_version(pairs(MIXED), rubrics(3))
    words = in_words.in_words(found, policy.read())
    row = found.loc[("r", "1", "k", "cohen_kappa")]
    inside = stats.norm.cdf((row["value"] + 1) / row["se"]) - stats.norm.cdf((row["value"] - 1) / row["se"])
    for band, edge in (("moderate", 0.4), ("substantial", 0.6)):
        above = stats.norm.cdf((row["value"] - edge) / row["se"])
        above -= stats.norm.cdf((row["value"] - 1) / row["se"])
        got = words.bands.loc[("r", "1", "k", band), "p_at_least"]
        assert got == pytest.approx(above / inside, abs=CLOSE)
    read = words.read.loc[("r", "1", "k")]
    best = words.bands.loc[("r", "1", "k")].query("p_at_least >= 0.95").index[-1]
    assert read["band_assured"] == best
    assert (read["n_units"], read["n_clusters"]) == (60, 30)


def test_the_policy_chooses_the_scale():
    found = by_version.by_version(pairs(MIXED), rubrics(3))
    assert in_words.in_words(found, policy.read()).scale.id == "landis_koch_1977"
    words = in_words.in_words(found, choosing("fleiss_1981"))
    assert list(words.bands.loc[("r", "1", "k")].index) == ["poor", "fair to good", "excellent"]
    with pytest.raises(ArgumentError, match=r"no scale 'thumb'.*landis_koch_1977"):
        in_words.in_words(found, choosing("thumb"))


def test_a_choice_stays_a_choice_and_a_number_a_number(tmp_path):
    row = '[[rule]]\nid = "{}"\nvalue = {}\ninequality = "=="\nunit = "x"\n'
    row += 'source = "common practice, no source"\nkind = "convention"\neffective_from = 2020-01-01\n'
    (tmp_path / "policy.toml").write_text(row.format("agreement_words", '"altman_1991"'))
    read = policy.read(tmp_path)
    assert read.choice("agreement_words") == "altman_1991"
    assert np.isnan(read.value("agreement_words"))
    assert read.used()[0].choice == "altman_1991"
    for name, value, allowed in (
        ("agreement_words", "3", '"altman_1991"'),
        ("confidence", '"much"', "a number"),
    ):
        (tmp_path / "policy.toml").write_text(row.format(name, value))
        with pytest.raises(PolicyError, match=f"{name}.*{allowed}"):
            policy.read(tmp_path)


def test_a_criterion_without_error_has_no_words():
    found = by_version.by_version(pairs([[5, 0], [0, 5]]), rubrics(2))
    words = in_words.in_words(found, policy.read())
    assert words.bands.empty
    assert pd.isna(words.read["band_assured"].iloc[0])
    assert words.read["band"].iloc[0] == "almost perfect"


def test_the_alarm_goes_for_uneven_levels_and_not_for_even_ones():
    """The two tables of one agreement: .91 with kappa .13 and .82, by hand."""
    chosen = pd.concat(
        [pairs([[90, 5], [4, 1]], criterion="uneven"), pairs([[46, 4], [5, 45]], criterion="even")]
    )
    found = in_words.paradoxes(chosen, rubrics(2), policy.read())
    assert list(found.index) == [("r", "1", "uneven", "all")]
    row = found.iloc[0]
    assert row["p_observed"] == pytest.approx(0.91)
    chance = 0.95 * 0.94 + 0.05 * 0.06
    assert row["value"] == pytest.approx((0.91 - chance) / (1 - chance), abs=CLOSE)
    assert (row["prevalence_index"], row["bias_index"]) == pytest.approx((0.89, 0.01))


def test_a_rare_level_is_held_against_the_others():
    found = in_words.paradoxes(pairs([[1, 4, 0], [3, 30, 12], [0, 9, 41]]), rubrics(3), policy.read())
    assert [key[-1] for key in found.index] == ["1"]
    assert found["prevalence_index"].iloc[0] == pytest.approx((1 - 92) / 100)
    assert found["bias_index"].iloc[0] == pytest.approx((4 - 3) / 100)


def test_no_pairs_no_rows():
    nothing = pairs(MIXED).iloc[:0]
    assert in_words.paradoxes(nothing, rubrics(3), policy.read()).empty
    assert in_words.in_words(by_version.by_version(nothing, rubrics(3)), policy.read()).read.empty
