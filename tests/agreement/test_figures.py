"""Pictures of agreement show the numbers of their tables."""

import numpy as np
import pandas as pd
import pytest
from drawn import held, labels

import mentorstats as ms
from mentorstats.agreement import benchmark, coefficients, paired_counts
from mentorstats.errors import ArgumentError, ColumnError

ASKED = {"unit": "unit", "rater": "rater", "level": "level", "levels": [1, 2, 3]}


@pytest.fixture(scope="module")
def ratings():
    rng = np.random.default_rng(3)
    first = rng.integers(1, 4, 60)
    second = np.clip(first + rng.integers(-1, 2, 60), 1, 3)
    parts = [
        pd.DataFrame({"unit": range(60), "rater": who, "level": x})
        for who, x in (("a", first), ("b", second))
    ]
    return pd.concat(parts).assign(group=lambda rows: rows["unit"] % 2)


def test_each_coefficient_has_its_row_and_interval(ratings):
    found = coefficients(ratings, **ASKED)
    axes = held(ms.agreement.figures.coefficients, found)
    assert labels(axes) == [name.replace("_", " ") for name in found.index]
    spans = axes.collections[0].get_segments()
    assert [span[0][0] for span in spans] == pytest.approx(found["low"].dropna().tolist())
    assert "95 % interval" in axes.get_xlabel()


def test_groups_are_chosen_first(ratings):
    found = coefficients(ratings, by="group", **ASKED)
    with pytest.raises(ArgumentError, match="Choose a group first"):
        ms.agreement.figures.coefficients(found)
    held(ms.agreement.figures.coefficients, found.loc[0])
    with pytest.raises(ColumnError, match="no column 'value'"):
        ms.agreement.figures.coefficients(ratings)


def test_pairs_of_levels_are_counted(ratings):
    found = paired_counts(ratings, **ASKED)
    axes = held(ms.agreement.figures.levels, found)
    shown = sorted(int(text.get_text()) for text in axes.texts)
    assert shown == sorted(found["n"])
    assert labels(axes) == ["3", "2", "1"]


def differences():
    index = pd.MultiIndex.from_product(
        [["r"], ["1", "2"], ["k", "m"]], names=["rubric", "rubric_version", "criterion"]
    )
    return pd.DataFrame(
        {"value": [0.2, -0.1, 0.3, 0.1], "low": [0.1, -0.3, 0.2, -0.1], "high": [0.3, 0.1, 0.4, 0.3]},
        index=index,
    )


def test_differences_by_criterion_of_one_version():
    axes = held(ms.agreement.figures.differences, differences().loc[("r", "1")])
    assert labels(axes) == ["k", "m"]
    with pytest.raises(ArgumentError, match="'k' comes twice"):
        ms.agreement.figures.differences(differences())


def test_words_from_the_lowest_up():
    found = benchmark(0.55, 0.08, "landis_koch_1977")
    axes = held(ms.agreement.figures.words, found)
    assert labels(axes) == list(found.index)
    assert [bar.get_width() for bar in axes.patches] == pytest.approx(found["p_at_least"].tolist())
    filled = {
        bar.get_facecolor() for bar, chosen in zip(axes.patches, found["supported"], strict=True) if chosen
    }
    assert len(filled) == 1
    assert "Landis & Koch" in axes.get_xlabel()
