"""Fits that several files of tests look at."""

import pytest

import mentorstats as ms
from mentorstats import demo
from mentorstats.calibration import base_fit, redraws


@pytest.fixture(scope="session")
def invented():
    """Return the invented programme with its truth."""
    return demo.programme()


@pytest.fixture(scope="session")
def invented_records(tmp_path_factory):
    """Return its records as they are loaded from its exports."""
    folder = tmp_path_factory.mktemp("invented")
    demo.write(folder / "exports")
    return ms.load(folder / "exports")


@pytest.fixture(scope="session")
def invented_base(invented_records):
    """Return the base fit of these."""
    return base_fit(invented_records.long())


@pytest.fixture(scope="session")
def invented_draws(invented_base):
    """Return ratings drawn from it."""
    return redraws(invented_base, draws=100)
