"""Two ages by three countries, a hidden zero: the vignette "Small count frequency table suppression".

The vignette belongs to a package; only its table and pattern are used.
"""

import numpy as np
from disclosure_blocks import bounded
from grids import names

from mentorstats.disclosure import fewest_partners, partners


def test_a_hidden_zero_takes_three_partners(block):
    example = block("SUP-04")
    data, expected = example["data"], example["expected"]
    published, found = bounded(data["table"], expected["hidden_after_secondary"])
    assert {key: found[key] for key in expected["bounds"]} == expected["bounds"]
    zero = names(data["primary"])
    chosen = partners(published, zero, width=1)
    assert len(chosen.hidden) == np.sum(expected["hidden_after_secondary"])
    assert len(fewest_partners(published, zero, width=1).hidden) == len(chosen.hidden)
    assert set(chosen.hidden) == set(published.hidden)
