"""Fit by information and by response [wright_masters_1982] at given measures, levels [masters_1982]."""

import numpy as np
import pytest

from mentorstats.calibration import mean_squares

PRINTED = 6e-5  # four printed decimals, the last of them rounded


def moments(probabilities):
    """Expectation, variance and fourth central moment of responses 0, 1, 2, …, levels last."""
    levels = np.arange(probabilities.shape[-1])
    expected = probabilities @ levels
    away = levels - expected[..., None]
    return expected, (probabilities * away**2).sum(-1), (probabilities * away**4).sum(-1)


def partial_credit(theta, steps, longest):
    """Probabilities of responses to one item, (persons, longest + 1), zero beyond the item's own steps."""
    logits = np.concatenate([np.zeros((len(theta), 1)), np.cumsum(theta[:, None] - steps, axis=1)], axis=1)
    shares = np.exp(logits) / np.exp(logits).sum(axis=1, keepdims=True)
    return np.pad(shares, ((0, 0), (0, longest + 1 - shares.shape[1])))


def check(found, expected, of):
    for ours, theirs in (
        (found.information, "infit"),
        (found.response, "outfit"),
        (found.information_z, "infit_z"),
        (found.response_z, "outfit_z"),
    ):
        assert ours == pytest.approx(expected[f"{of}_{theirs}"], abs=PRINTED)


def test_five_persons_by_four_items_of_two_levels(block):
    example = block("RAS-01")
    data, expected = example["data"], example["expected"]
    logit = np.array(data["theta"])[:, None] - np.array(data["delta"])
    p = 1 / (1 + np.exp(-logit))
    parts = moments(np.stack([1 - p, p], axis=-1))
    for axis, of in ((0, "item"), (1, "person")):
        check(mean_squares(data["x"], *parts, axis=axis), expected, of)


def test_seven_persons_by_four_items_of_several_levels_with_gaps(block):
    example = block("RAS-04")
    data, expected = example["data"], example["expected"]
    theta = np.array(data["theta"])
    items = [partial_credit(theta, np.array(steps), 3) for steps in data["steps"]]
    x = np.array(data["x"], dtype=float)
    parts = moments(np.stack(items, axis=1))
    there = ~np.isnan(x)
    for ours, name in ((parts[0], "E"), (parts[1], "W")):
        assert ours[there] == pytest.approx(np.array(expected[name], dtype=float)[there], abs=PRINTED)
    for axis, of in ((0, "item"), (1, "person")):
        check(mean_squares(x, *parts, axis=axis), expected, of)
