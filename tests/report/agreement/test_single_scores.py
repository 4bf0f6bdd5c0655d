"""The sections on single scores and on what a reader needs: values with intervals, gaps named."""

import pandas as pd
import pytest

from mentorstats import agreement, policy
from mentorstats.agreement.scores import single_scores as of_ratings
from mentorstats.report.agreement import reporting_items, single_scores


@pytest.fixture
def ranked(make_long):
    frame = make_long()
    return frame if "rank" in frame else frame.assign(rank=frame["level"].cat.codes + 1)


@pytest.fixture
def found(ranked):
    return of_ratings.single_scores(ranked, confidence=0.95, seed=0)


def test_each_version_has_its_table_with_the_values_of_the_statistics(found):
    section = single_scores.section(found, policy.read())
    assert len(section.tables) == found["rubric_version"].nunique()
    first = section.tables[0].data.iloc[0]
    assert section.answer.startswith("Under hearthside, version 2, the reliability of a single rating")
    chosen = found[(found["rubric_version"] == "2") & (found["coefficient"] == "icc_a_1")]
    assert first["icc"] == pytest.approx(float(chosen["value"].iloc[0]), nan_ok=True)


def test_without_two_raters_nothing_is_told():
    section = single_scores.section(pd.DataFrame(), policy.read())
    assert section.status == "no_records"


def test_reporting_items_name_what_is_missing(ranked):
    frame = ranked.assign(unit=lambda x: x["observation"].astype(str) + x["criterion"].astype(str))
    table = agreement.coefficients(frame, unit="unit", rater="rater", level="rank", levels=[1, 2, 3, 4])
    section = reporting_items.section(agreement.reporting_items(table))
    assert len(section.tables[0].data) == 15
    assert "study.toml" in section.detail[0]
