"""A few faulty cells of an invented programme stay a few entries and cost next to no rating."""

import numpy as np
import pytest

import mentorstats as ms
from mentorstats import demo
from mentorstats.demo.layout import mapping
from mentorstats.demo.sheets import save, sheets

CELLS = (
    *[("placements", field) for field in ("start", "start", "start", "end", "status", "candidate")],
    *[("observations", field) for field in ("date", "date", "minutes", "visit_mode", "placement")],
    *[("observations", field) for field in ("pre_conference", "debrief_date")],
    *[("ratings", field) for field in ("rater", "observation", "level", "level")],
)


@pytest.mark.parametrize("seed", [1, 2])
def test_seventeen_cells_are_seventeen_entries(tmp_path, seed):
    invented = demo.programme(demo.SEED)
    exports, rng = sheets(invented), np.random.default_rng(seed)
    for table, field in CELLS:
        fit = [sheet for sheet in exports if sheet.layout.table == table]
        sheet = fit[rng.integers(len(fit))]
        headings = [sheet.layout.columns.get(field), *sheet.layout.criteria.values()]
        heading = next(one for one in headings if one)
        row, column = rng.integers(len(sheet.table)), list(sheet.table.columns).index(heading)
        sheet.table.iloc[row, column] = f"?{field}"
    save(exports, tmp_path)
    (tmp_path / "mapping.toml").write_bytes(mapping([sheet.layout for sheet in exports]).encode())
    records = ms.load(tmp_path)
    assert len(CELLS) - 2 <= len(records.problems) <= len(CELLS)  # a cell may have been spoilt twice
    # A long form loses a rating a cell, a wide one its whole form where the rater or the lesson is lost.
    assert len(invented.ratings) - len(records.ratings) <= 20
    assert len(records.observations) >= len(invented.observations) - 1
