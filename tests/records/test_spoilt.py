"""No spoilt export, mapping, policy or study ends in anything but a result or an error of the package."""

import pandas as pd
import pytest
import spoilt

from mentorstats import errors

SHARES = 8  # parts of the plain run, so that a failure is found without waiting for all


@pytest.mark.parametrize("form", ["csv", "workbook", "parquet", "mapped"])
def test_unspoilt_exports_load_without_a_fault(form, tmp_path):
    for name, data in spoilt.files(form, spoilt.tables()).items():
        (tmp_path / name).write_bytes(data)
    found = spoilt.ms.load(tmp_path)
    assert set(found.problems["effect"]) <= {"notice"}
    assert len(found.long()) == 32


@pytest.mark.parametrize("part", range(SHARES))
def test_spoilt_exports(part):
    found = spoilt.run(range(part, spoilt.PLAIN, SHARES))
    assert not [(one.number, one.form, one.how, one.failure) for one in found if one.failure]
    assert len({one.outcome for one in found}) > 3  # of all kinds, or nothing was spoilt


@pytest.mark.long
def test_all_spoilt_exports():
    found = spoilt.run(range(spoilt.FULL))
    assert not [(one.number, one.form, one.how, one.failure) for one in found if one.failure]
    stored = pd.read_csv(spoilt.TABLE, index_col=["form", "spoilt"])
    pd.testing.assert_frame_equal(spoilt.counted(found), stored, check_dtype=False)


def test_the_stored_run_ended_as_allowed():
    stored = pd.read_csv(spoilt.TABLE, index_col=["form", "spoilt"])
    known = {name for name in dir(errors) if name.endswith("Error")}
    assert set(stored.columns) - {"cases", "loaded", "loaded, with faults"} <= known
    assert stored["cases"].sum() == spoilt.FULL
