"""Complementary suppression, 4 counties by 4 levels of education [fcsm_2005], values below 5 hidden."""

from disclosure_blocks import bounded

from mentorstats.disclosure import audit, partners

THRESHOLD = 5


def test_two_hidden_cells_in_each_line_are_not_enough(block):
    example = block("SUP-01")
    data, expected = example["data"], example["expected"]["unsafe"]
    published, found = bounded(data["table"], data["pattern_two_per_line_but_unsafe"])
    assert found == expected["bounds"]
    seen = audit(published, published.hidden, width=1)
    assert seen.index[seen["recovered"]].tolist() == ["column 3 · row 0"]
    assert seen.at["column 3 · row 0", "value"] == expected["recovered"]["Alpha,VeryHigh"]


def test_the_printed_safe_pattern_is_found_and_has_the_printed_bounds(block):
    example = block("SUP-01")
    data = example["data"]
    published, found = bounded(data["table"], data["pattern_safe"])
    assert found == example["expected"]["safe_bounds"]
    few = bounded(data["table"], data["primary_lt5"])[0]
    assert audit(few, few.hidden, width=1)["recovered"].all()
    chosen = partners(few, few.hidden, width=THRESHOLD, minimum=THRESHOLD)
    assert set(chosen.hidden) == set(published.hidden)
