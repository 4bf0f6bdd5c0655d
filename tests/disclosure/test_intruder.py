"""The intruder against random tables: by linear programming, and by trying every possibility."""

import pandas as pd
import pytest
from grids import published_of, rows_and_columns, sensitive, tried

from mentorstats.disclosure import audit, bounds, fewest_partners, partners
from mentorstats.disclosure.audit import exposed

MINIMUM, WIDTH = 5, 3
FEW = 7  # hidden cells of which every combination is tried
TIMES = 1.3  # at most as many hidden cells as the optimum


def attacked(seed):
    """Hide, attack in two ways, and count what was lost."""
    published = published_of(seed)
    need = sensitive(published, MINIMUM)
    chosen = partners(published, need, width=WIDTH)
    assert set(need) <= set(chosen.hidden)
    assert not audit(chosen, need, width=WIDTH)["recovered"].any(), seed
    if seed % 5 == 0:  # the same with the sums of what is hidden kept from view, on a part, for time
        joined = partners(published, need, width=WIDTH, minimum=MINIMUM)
        assert not exposed(joined, MINIMUM)
        assert not audit(joined, need, width=WIDTH)["recovered"].any(), seed
    if need and len(chosen.hidden) <= FEW:
        program = bounds(chosen, need)
        for cell, (least, most) in tried(chosen, need).items():
            assert most - least >= WIDTH, (seed, cell)
            assert program.at[cell, "low"] <= least
            assert program.at[cell, "high"] >= most
    naive = rows_and_columns(published, need)
    return {
        "seed": seed,
        "few": len(need),
        "hidden": len(chosen.hidden),
        "optimal": len(fewest_partners(published, need, width=WIDTH).hidden),
        "naive": len(naive.hidden),
        "naive_recovered": int(audit(naive, need, width=WIDTH)["recovered"].sum()),
    }


def lost(seeds):
    found = pd.DataFrame([attacked(seed) for seed in seeds])
    assert (found["few"] > 0).mean() > 0.5
    assert (found["hidden"] >= found["optimal"]).all()
    assert (found["hidden"] <= TIMES * found["optimal"]).all(), found
    assert found["naive_recovered"].sum() > 0, "the naive rule protects everything: the attack has no teeth"
    return found


@pytest.mark.parametrize("first", range(0, 50, 10))
def test_no_hidden_count_is_recovered_and_little_is_lost(first):
    lost(range(first, first + 10))


@pytest.mark.long
def test_five_hundred_table_sets():
    lost(range(500))
