"""Fits that several files of tests look at."""

import pytest

from mentorstats.calibration import base_fit, redraws


@pytest.fixture(scope="session")
def invented_base(invented_records):
    """Return the base fit of these."""
    return base_fit(invented_records.long())


@pytest.fixture(scope="session")
def invented_draws(invented_base):
    """Return ratings drawn from it."""
    return redraws(invented_base, draws=100)
