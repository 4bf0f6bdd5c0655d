"""Bounds of a published pattern, keyed as the blocks of published examples have them."""

import numpy as np
from grids import grid, name, names

from mentorstats.disclosure import bounds, from_tables


def bounded(table, pattern):
    """Return the published cells with the pattern hidden, and their bounds by ``row,column``."""
    published = from_tables([grid(table)])
    published = published.hiding(names(pattern))
    found = bounds(published, whole=False)
    places = zip(*np.nonzero(pattern), strict=True)
    return published, {f"{i},{j}": found.loc[name(i, j)].tolist() for i, j in places}
