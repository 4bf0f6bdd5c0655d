"""Words are read off intervals, with an author; a low kappa beside high agreement raises an alarm."""

import math
import tomllib

import numpy as np
import pandas as pd
import pytest

from mentorstats import places, policy
from mentorstats.agreement import benchmark, coefficients, paradox, read_against
from mentorstats.declared import bands
from mentorstats.errors import ArgumentError, DictionaryError
from mentorstats.policy import Policy

COLUMNS = set(
    tomllib.loads(
        (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    )
)


@pytest.mark.parametrize(
    ("name", "value", "word"),
    [
        ("landis_koch_1977", -0.01, "poor"),
        ("landis_koch_1977", 0.0, "slight"),
        ("landis_koch_1977", 0.2, "slight"),
        ("landis_koch_1977", 0.21, "fair"),
        ("landis_koch_1977", 0.8, "substantial"),
        ("landis_koch_1977", 1.0, "almost perfect"),
        ("fleiss_1981", 0.39, "poor"),
        ("fleiss_1981", 0.4, "fair to good"),
        ("fleiss_1981", 0.75, "fair to good"),
        ("fleiss_1981", 0.76, "excellent"),
        ("altman_1991", 0.2, "poor"),
        ("altman_1991", 0.81, "very good"),
        ("cicchetti_1994", 0.39, "poor"),
        ("cicchetti_1994", 0.4, "fair"),
        ("cicchetti_1994", 0.6, "good"),
        ("cicchetti_1994", 0.75, "excellent"),
        ("koo_li_2016", 0.49, "poor"),
        ("koo_li_2016", 0.5, "moderate"),
        ("koo_li_2016", 0.9, "good"),
        ("koo_li_2016", 0.91, "excellent"),
        ("koo_li_2016", -1.5, "poor"),
    ],
)
def test_a_value_on_an_edge_goes_where_the_author_puts_it(name, value, word):
    assert bands.scale(name).label(value) == word


def test_the_interval_is_read_not_the_value():
    row = read_against(0.62, "cicchetti_1994", low=0.38, high=0.78).iloc[0]
    assert (row.band, row.band_low, row.band_high, row.n_bands) == ("good", "poor", "excellent", 4)
    edge = read_against(0.7, "cicchetti_1994", low=0.6, high=0.75).iloc[0]
    assert (edge.band_low, edge.band_high, edge.n_bands) == ("good", "excellent", 2)


def test_no_interval_no_words_for_it():
    row = read_against(0.62, "cicchetti_1994").iloc[0]
    assert row.band == "good"
    assert pd.isna(row.band_low)
    assert pd.isna(row.n_bands)
    with pytest.raises(ArgumentError, match="does not hold"):
        read_against(0.62, "cicchetti_1994", low=0.7, high=0.8)
    with pytest.raises(ArgumentError, match=r"no scale 'koo'.*koo_li_2016"):
        read_against(0.62, "koo")


def two_raters(n, same, seed=1):
    rng = np.random.default_rng(seed)
    first = rng.choice([1, 2, 3], n)
    second = np.where(rng.random(n) < same, first, rng.choice([1, 2, 3], n))
    unit = np.arange(n)
    return pd.concat(
        [pd.DataFrame({"unit": unit, "rater": r, "level": x}) for r, x in (("a", first), ("b", second))]
    )


def test_a_table_of_coefficients():
    found = coefficients(two_raters(80, 0.7), unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    read = read_against(found, "landis_koch_1977")
    assert read.index.equals(found.index)
    assert set(read.columns) <= COLUMNS
    assert read.loc["percent_agreement", ["band", "band_low", "band_assured"]].isna().all()
    assert "no scale" in read.loc["percent_agreement", "status_note"]
    kappa = read.loc["cohen_kappa"]
    supported = benchmark(found.value["cohen_kappa"], found.se["cohen_kappa"], "landis_koch_1977")
    assert kappa.band_assured == supported.index[supported.supported][0]
    assert kappa.status_note == ""
    assert "proposed these words for" in read.loc["gwet_ac", "status_note"]


def test_no_value_no_word():
    found = coefficients(
        two_raters(1, 1.0), unit="unit", rater="rater", level="level", levels=[1, 2, 3], interval="none"
    )
    assert read_against(found, "fleiss_1981")[["band", "band_low", "band_assured"]].isna().all().all()


def test_benchmark_adds_up_and_refuses():
    found = benchmark(0.5, 0.2, "koo_li_2016", probability=0.5)
    assert set(found.columns) <= COLUMNS
    assert found.probability.sum() == pytest.approx(1)
    assert found.supported.sum() == 1
    assert benchmark(0.999, 1e-6, "koo_li_2016").index[-1] == "excellent"
    for se in (0.0, math.nan, -1.0):
        with pytest.raises(ArgumentError, match=r"se is|standard error"):
            benchmark(0.5, se, "koo_li_2016")
    with pytest.raises(ArgumentError, match="probability"):
        benchmark(0.5, 0.1, "koo_li_2016", probability=95)


def rare(n=100):
    """Both nearly always give level 2 of three."""
    first = np.full(n, 2)
    second = first.copy()
    first[:5], second[5:10] = 1, 3
    first[10:12] = second[10:12] = 3
    unit = np.arange(n)
    return pd.concat(
        [pd.DataFrame({"unit": unit, "rater": r, "level": x}) for r, x in (("a", first), ("b", second))],
        ignore_index=True,
    )


def test_the_alarm_on_three_levels():
    found = paradox(rare(), unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    assert found.index.tolist() == ["all", "1", "2", "3"]
    assert set(found.columns) <= COLUMNS
    assert found.loc["all", "alarm"]
    assert math.isnan(found.loc["all", "prevalence_index"])
    own = (rare().set_index(["unit", "rater"]).level == 2).unstack()
    assert found.loc["2", "p_observed"] == pytest.approx((own.a == own.b).mean())
    assert found.loc["2", "prevalence_index"] == pytest.approx(
        (own.a & own.b).mean() - (~own.a & ~own.b).mean()
    )
    assert found.loc["2", "bias_index"] == pytest.approx((own.a & ~own.b).mean() - (~own.a & own.b).mean())
    blind = sum((own.a == x).mean() * (own.b == x).mean() for x in (True, False))
    assert found.loc["2", "p_expected"] == pytest.approx(blind)


def test_rows_without_a_level_are_left_out():
    ratings = rare().astype({"level": float})
    ratings.loc[0, "level"] = math.nan
    whole = paradox(rare().query("unit != 0"), unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    gaps = paradox(ratings, unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    assert gaps["value"].tolist() == pytest.approx(whole["value"].tolist(), nan_ok=True)


def test_more_than_two_raters():
    ratings = pd.concat([rare(), rare().query("rater == 'a'").assign(rater="c")])
    found = paradox(ratings, unit="unit", rater="rater", level="level", levels=[1, 2, 3])
    assert (found.reference == "conger_1980").all()
    assert found["bias_index"].isna().all()


def test_the_rules_are_the_programmes_own():
    shipped = policy.read()
    strict = Policy(
        tuple(
            policy.Rule(
                **{
                    **{name: getattr(rule, name) for name in policy.Rule.__slots__},
                    "value": 0.99 if rule.id == "paradox_agreement" else rule.value,
                }
            )
            for rule in shipped.rules
        )
    )
    found = paradox(rare(), unit="unit", rater="rater", level="level", levels=[1, 2, 3], rules=strict)
    assert not found.loc["all", "alarm"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[x", "not legal TOML"),
        ("[x]\nauthor = 'A'", "missing key"),
        ("edges = [0.0, 1.0, 0.5]\nlabels = ['a', 'b']\nedge_goes = ['above']", "edges and 2 labels"),
        ("edges = [0.0, 0.5, 1.0]\nlabels = ['a', 'b']\nedge_goes = []", "sides for 1 inner"),
        ("edges = [0.0, 0.5, 1.0]\nlabels = ['a', 'b']\nedge_goes = ['up']", "'up' is not known"),
    ],
)
def test_a_scale_that_is_none_is_refused(tmp_path, text, message):
    if text.startswith("edges"):
        text = f"[x]\nauthor = 'A'\nreference = 'fleiss_1981'\nproposed_for = []\n{text}"
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DictionaryError, match=message):
        bands.read(path)
