"""Three activities by three regions with one sensitive cell [fischetti_salazar_2001]."""

from disclosure_blocks import bounded
from grids import name

from mentorstats.disclosure import fewest_partners, partners


def test_protection_bounds(block):
    example = block("SUP-03")
    data = example["data"]
    published, found = bounded(data["table_rows_activity_cols_region"], data["hidden"])
    assert found == example["expected"]["bounds"]
    sensitive = [name(1, 2)]
    assert len(partners(published, sensitive, width=9).hidden) == len(published.hidden)
    assert len(fewest_partners(published, sensitive, width=9).hidden) == len(published.hidden)
