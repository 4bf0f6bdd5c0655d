"""Linear algebra runs on one thread while the package computes, and as before afterwards."""

import subprocess
import sys
import threading
from pathlib import Path

import numpy as np  # noqa: F401  # loads what is limited
import pytest
import scipy.linalg  # noqa: F401
from threadpoolctl import ThreadpoolController, threadpool_limits

from mentorstats.errors import ArgumentError
from mentorstats.mixed import fit
from mentorstats.threads import one_thread

RUN = """
import hashlib, sys
import numpy as np, pandas as pd
from mentorstats import agreement, mixed, reliability
rng = np.random.default_rng(1)
unit, rater = np.divmod(np.arange(1200), 8)
frame = pd.DataFrame({"unit": unit, "rater": rater, "group": unit % 30, "x": rng.normal(size=1200)})
frame["score"] = rng.normal(size=150)[unit] + rng.normal(size=8)[rater] + rng.normal(size=1200)
frame["level"] = np.clip(np.round(frame["score"] + 2), 0, 3).astype(int)
some = frame[rng.random(1200) < 0.7]
names = {"unit": "unit", "rater": "rater"}
linear = mixed.fit(some, response="score", fixed="x", grouped=["unit", "rater"])
ordinal = mixed.fit(
    some, response="level", fixed="x", grouped=["unit", "rater"], kind="ordinal", levels=[0, 1, 2, 3]
)
study = reliability.g_study(some, object="unit", facets="rater", score="score", limits="one_step")
tables = [
    linear.components, linear.coefficients, linear.effects("unit"), linear.means(of="x", at={"x": 1.0}),
    ordinal.components, ordinal.coefficients, ordinal.thresholds, ordinal.effects("rater"),
    study.components, reliability.d_study(study, {"rater": [1, 4]}),
    agreement.coefficients(some, **names, level="level", levels=[0, 1, 2, 3], cluster="group"),
    agreement.icc_incomplete(some, **names, level="score", replicates=200),
]
numbers = [table.select_dtypes("number").to_numpy(dtype=float, na_value=np.nan) for table in tables]
for values in numbers:
    print(hashlib.sha256(np.ascontiguousarray(values).tobytes()).hexdigest())
"""


def threads():
    return [one["num_threads"] for one in ThreadpoolController().info() if one["user_api"] == "blas"]


def test_results_are_the_same_bits_with_any_number_of_threads(monkeypatch):
    found = []
    for number in ("1", "2"):
        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
            monkeypatch.setenv(name, number)
        done = subprocess.run(
            [sys.executable, "-c", RUN],
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parent.parent,
        )
        found.append(done.stdout.split())
    assert len(found[0]) == 12
    assert found[0] == found[1]


def test_calls_inside_calls_restore_at_the_end():
    with threadpool_limits(2, user_api="blas"):
        before = threads()
        with one_thread():
            with one_thread():
                assert set(threads()) == {1}
            assert set(threads()) == {1}
        assert threads() == before == [2] * len(before)


def test_an_error_restores_too():
    with threadpool_limits(2, user_api="blas"):
        with pytest.raises(ArgumentError):
            fit(None, response="score")
        with pytest.raises(KeyError), one_thread():
            raise KeyError
        assert set(threads()) == {2}


def test_calls_at_once_restore_when_the_last_is_done():
    inside, leave = threading.Event(), threading.Event()

    def first():
        with one_thread():
            inside.set()
            leave.wait(10)

    with threadpool_limits(2, user_api="blas"):
        other = threading.Thread(target=first)
        other.start()
        assert inside.wait(10)
        with one_thread():
            leave.set()
            other.join(10)
            assert set(threads()) == {1}, "the first to leave must not give threads back to the second"
        assert set(threads()) == {2}
