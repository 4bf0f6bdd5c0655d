"""From a frame to a fitted engine, and values that R runs wrote."""

import csv
from pathlib import Path

import numpy as np

from mentorstats.mixed.design.layout import Declared
from mentorstats.mixed.engines.assemble import assemble

REFERENCE = Path(__file__).parents[1] / "reference"


def reference(run):
    """Values an R run wrote: case to quantity to number."""
    found = {}
    with (REFERENCE / run / "values.csv").open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            found.setdefault(row["case"], {})[row["quantity"]] = float(row["value"])
    return found


def linear(frame, response, fixed=(), grouped=(), *, restricted=True, chunks=1, weights=None):
    declared = Declared(response, tuple(fixed), tuple(grouped), "linear", weights=weights)
    parts = [frame.iloc[at] for at in np.array_split(np.arange(len(frame)), chunks)]
    model = assemble(lambda: parts, declared, restricted=restricted, points=1)
    return model.linear, model.found


def ordinal(frame, response, levels, fixed=(), grouped=(), *, link="logit", thresholds_by=None, scale=()):
    declared = Declared(
        response,
        tuple(fixed),
        tuple(grouped),
        "ordinal",
        levels=tuple(levels),
        link=link,
        thresholds_by=thresholds_by,
        scale=tuple(scale),
    )
    model = assemble(lambda: [frame], declared, restricted=False, points=1)
    return model.levels, model.found
