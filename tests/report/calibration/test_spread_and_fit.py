"""The sections on spread, halo and fit: what is counted, what is blanked, what cannot be told."""

import tomllib
from dataclasses import replace

import pandas as pd
import pytest
from spread_simulation import programme

from mentorstats import places, policy
from mentorstats.calibration import (
    base_fit,
    central_tendency,
    criterion_fit,
    halo,
    level_use,
    range_restriction,
    rating_fit,
    redraws,
)
from mentorstats.calibration.analyse import Spread
from mentorstats.report import small_groups
from mentorstats.report.calibration import rating_fit as fit_section
from mentorstats.report.calibration import spread_and_halo


def everything(base, drawn=None):
    return Spread(
        central=central_tendency(base, drawn),
        restriction=range_restriction(base, drawn),
        halo=halo(base, drawn),
        by_information=rating_fit(base, drawn),
        by_response=rating_fit(base, drawn, kind="response"),
        criteria=criterion_fit(base, drawn),
        levels=level_use(base, drawn),
    )


@pytest.fixture(scope="module")
def found():
    table = programme(1, toward={0: (0.0, 0.4)}, shift={0: 0.0}, halo_of={2: 0.9})
    table.loc[table["rater"] == "r07", "rater_role"] = "trainer"
    base = base_fit(table)
    drawn = redraws(base, draws=60)
    return everything(base, drawn)


def blanked(section, rules):
    minimum = rules.rule("minimum_group_size")
    return replace(section, tables=tuple(small_groups.blank(table, minimum) for table in section.tables))


@pytest.fixture(scope="module")
def spread(found, shipped):
    return blanked(spread_and_halo.section(found, shipped), shipped)


@pytest.fixture(scope="module")
def fits(found, shipped):
    return blanked(fit_section.section(found, shipped), shipped)


def test_the_summary_counts_what_lies_beyond_the_limits(spread, found):
    summary = spread.tables[0].data
    row = summary[
        (summary["measure"] == "Standard deviation of ratings") & (summary["role"] == "Supervisor")
    ].iloc[0]
    own = found.restriction.query("rater_role == 'supervisor'")
    assert row["n_raters"] == 11
    assert row["below"] == (own["sd"] < own["sd_expected_low"]).sum() >= 1
    assert row["by_chance"] == pytest.approx(11 * 0.025)


def test_a_role_of_few_raters_is_blanked_in_the_summary(spread, fits):
    for section in (spread, fits):
        data = section.tables[0].data
        few = data[data["role"] == "Trainer"]
        assert len(few)
        assert few["below"].isna().all()
        assert (few["below_status"] == "too_few_to_show").all()


def test_raters_stand_in_the_order_of_their_codes(spread, fits):
    for table in (*spread.tables[1:], fits.tables[1], fits.tables[3]):
        assert table.data["rater"].is_monotonic_increasing or table.data["rater_role"].nunique() > 1
        by_role = table.data.groupby("rater_role")["rater"]
        assert by_role.apply(lambda codes: codes.is_monotonic_increasing).all()


def test_the_answer_says_how_many_to_expect_by_chance(spread, fits):
    for section in (spread, fits):
        assert "would be expected by chance" in section.answer


def test_the_sentence_counts_only_the_roles_that_the_summary_shows(spread, fits):
    for section, measure in ((spread, "Standard deviation of ratings"), (fits, "Weighted mean-square fit")):
        data = section.tables[0].data
        shown = data.loc[data["measure"] == measure, "n_raters"].dropna().sum()
        assert shown == 11
        assert "of 11 raters" in section.answer
        assert "of 12" not in section.answer


def test_a_single_rater_of_a_role_has_a_reason_instead_of_a_number(spread):
    own = spread.tables[1].data.set_index("rater").loc["r07"]
    assert pd.isna(own["pull"])
    assert own["pull_status"] == "not_identified"
    assert own["sd"] > 0
    assert own["sd_status"] == "ok"


def test_nothing_is_told_without_a_fit():
    table = programme(1)
    table["rank"] = 2
    base = base_fit(table)
    for module in (spread_and_halo, fit_section):
        section = module.section(everything(base), policy.read())
        assert section.status == "no_records"
        assert section.answer.startswith("This cannot be estimated from the records.")
        assert not section.tables


def test_columns_are_in_the_vocabulary(found):
    text = (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    for name, table in vars(found).items():
        assert set(table.columns) <= set(tomllib.loads(text)), name
