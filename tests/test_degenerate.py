"""No degenerate table or argument ends in anything but a result or an error of the package."""

import closed_lists
import degenerate
import pandas as pd
import pytest

SHARES = 8  # parts of the plain run, so that a failure is found without waiting for all


def test_every_public_function_has_a_valid_call():
    named = {name.partition(" (")[0] for name in degenerate.calls() if not name.startswith("mixed.Fit.")}
    assert named == degenerate.public()


@pytest.mark.parametrize("name", degenerate.NAMES)
def test_the_call_is_valid(name):
    call = degenerate.calls()[name]
    assert closed_lists.outside(call.function(**call.given)) == []


@pytest.mark.parametrize("part", range(SHARES))
def test_degenerate_calls(part):
    found = degenerate.run(range(part, degenerate.PLAIN, SHARES))
    assert not [(one.number, one.function, one.how, one.failure) for one in found if one.failure]


@pytest.mark.long
def test_all_degenerate_calls():
    found = degenerate.run(range(degenerate.FULL))
    assert not [(one.number, one.function, one.how, one.failure) for one in found if one.failure]
    stored = pd.read_csv(degenerate.TABLE, index_col="function")
    pd.testing.assert_frame_equal(degenerate.counted(found), stored, check_dtype=False)


def test_the_stored_run_covers_every_function_and_ended_as_allowed():
    stored = pd.read_csv(degenerate.TABLE, index_col="function")
    assert set(stored.index) == set(degenerate.NAMES)
    outcomes = set(stored.columns) - {"cases", degenerate.RESULT}
    assert outcomes <= degenerate.ERRORS
    assert stored["cases"].sum() == degenerate.FULL
