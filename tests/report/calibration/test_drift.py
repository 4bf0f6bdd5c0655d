"""The sections on drift: what is said of a role, of a rater, of all raters, and what is missing."""

import math
import re

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.calibration import Drift, base_fit, control_charts, drift_between, key_trend
from mentorstats.report.calibration import drift
from mentorstats.report.figures import drawing
from mentorstats.report.key_scores import control_charts as charts_section
from mentorstats.report.render import page
from mentorstats.report.render.view import view

LEVELS = [1, 2, 3, 4]


def ratings(seed=1, raters=12, candidates=36):
    """Draw two raters a candidate; the first rater becomes stricter."""
    rng = np.random.default_rng(seed)
    ability, severity = rng.normal(0, 1, candidates), rng.normal(0, 0.7, raters)
    rows = []
    for c in range(candidates):
        for week in (1, 4, 8, 12):
            for r in (c % raters, (c + 1 + c // raters) % raters):
                for k in range(3):
                    shift = -0.35 * (week - 6) * (r == 0)
                    latent = ability[c] + severity[r] + shift + 0.3 * k + rng.logistic()
                    rank = 1 + int(np.searchsorted([-1.5, 0.3, 2.0], latent))
                    rows.append((f"o{c}-{week}", f"c{c}", week, f"r{r:02}", f"k{k}", rank))
    table = pd.DataFrame(rows, columns=["observation", "candidate", "week", "rater", "criterion", "rank"])
    table["cohort"] = np.where(table["candidate"].str[1:].astype(int) < candidates / 2, "2025", "2026")
    return table.assign(rater_role="supervisor", rubric="invented", rubric_version="1")


def scored(seed=2, raters=12, days=9, moving=-1.6):
    """Draw raters who score two recordings a day; the first moves away from the key."""
    rng = np.random.default_rng(seed)
    rows = []
    for r in range(raters):
        for place, recording in enumerate(rng.permutation(2 * days)):
            day = place // 2
            key = (recording + np.arange(6)) % 4 + 1
            shift = (moving * day / (days - 1) if r == 0 else 0.0) + rng.normal(0, 0.15)
            level = np.clip(np.rint(key + shift + rng.normal(0, 0.4, 6)), 1, 4).astype(int)
            for k in range(6):
                date = pd.Timestamp("2026-01-05") + pd.Timedelta(days=14 * day)
                rows.append((f"r{r:02}", f"v{recording}", f"k{k}", level[k], key[k], date))
    return pd.DataFrame(rows, columns=["rater", "recording", "criterion", "level", "key_level", "date"])


@pytest.fixture(scope="module")
def base():
    return base_fit(ratings(candidates=72))


@pytest.fixture(scope="module")
def found(base):
    return drift_between(base), drift_between(base, per="cycle")


@pytest.fixture(scope="module")
def recorded():
    table = scored()
    return control_charts(table, levels=LEVELS), key_trend(table, levels=LEVELS)


def test_the_answer_has_the_spread_its_interval_and_what_would_be_found(found, recorded) -> None:
    section = drift.section(found[0], policy.read(), cycles=found[1], trend=recorded[1])
    role = found[0].roles.iloc[0]
    assert "Supervisors (12 raters): they differ in their drift, beyond chance." in section.answer
    assert (
        f"{role['sd_level']:.2f} [{role['sd_level_low']:.2f}, {role['sd_level_high']:.2f}]" in section.answer
    )
    assert f"{role['detectable']:.2f} levels would be found four times in five" in section.answer
    assert "on key-scored recordings it is" in section.answer
    assert any("cannot be told" in text for text in section.method)
    assert any("no sole basis" in " ".join(text.split()) for text in section.caution)


def test_raters_stand_in_the_order_of_their_codes_with_intervals(found) -> None:
    section = drift.section(found[0], policy.read(), cycles=found[1])
    raters = section.tables[-1]
    assert raters.key == "drift-raters-supervisor"
    assert list(raters.data["rater"]) == sorted(raters.data["rater"])
    first = raters.data.iloc[0]
    source = found[0].raters.set_index("rater").loc["r00"]
    assert first["contrast"] == source["contrast_level"]
    assert first["contrast_high"] == source["contrast_level_high"] < 0
    assert first["shrunken"] == source["effect_level"]
    assert abs(first["shrunken"]) < abs(first["contrast"])
    assert "cycle_contrast" in raters.labels
    assert "key-scored recordings over the year would show it" in section.answer


def test_few_raters_are_not_shown_as_a_group(base, strict) -> None:
    few = drift_between(base_fit(ratings(raters=6, candidates=18)))
    section = drift.section(few, strict)
    assert "not shown, fewer than 10 raters" in section.answer
    assert math.isnan(section.tables[0].data["sd_level"].item())


def test_mean_drift_of_few_raters_is_not_shown(found, strict) -> None:
    table = scored(raters=9)
    trend = key_trend(table, levels=LEVELS)
    assert "fewer than 10 raters" in drift.section(found[0], strict, trend=trend).answer
    section = charts_section.section(control_charts(table, levels=LEVELS), trend, strict)
    assert "is not shown" in section.answer
    assert section.tables[0].data["trend"].isna().all()


def test_without_weeks_the_section_says_so() -> None:
    flat = drift_between(base_fit(ratings(candidates=72).assign(week=1)))
    section = drift.section(flat, policy.read())
    assert "cannot be told" in section.answer
    assert view(section.tables[-1]).rows[0][3].text == "no value"


def test_without_ratings_there_is_a_status() -> None:
    empty = Drift(pd.DataFrame(columns=["rater"]), pd.DataFrame())
    assert drift.section(empty, policy.read()).status == "no_records"


def test_charts_of_raters_with_a_signal_are_drawn_and_tabled(recorded) -> None:
    section = charts_section.section(*recorded, policy.read())
    assert [figure.key for figure in section.figures] == ["key-drift-chart-r00"]
    figure = section.figures[0]
    assert figure.table == "key-drift-days"
    assert "weighted mean goes from" in figure.alt
    made = drawing.svg(figure)
    assert made == drawing.svg(figure)
    days = next(table for table in section.tables if table.key == "key-drift-days").data
    assert set(days["rater"]) == {"r00"}
    assert (days["outside"] == "outside").any()
    runs = recorded[0].runs
    expected = runs.loc[runs["status"] == "ok", "p_false_any"].sum()
    assert f"{expected:.2f} would be expected by chance alone" in section.answer


def test_each_rater_has_a_row_in_each_measure(recorded) -> None:
    section = charts_section.section(*recorded, policy.read())
    for measure in ("bias", "exact"):
        table = next(table for table in section.tables if table.key == f"key-drift-{measure}")
        assert len(table.data) == 12
        assert table.data["slope"].notna().all()
    words = section.tables[1].data.set_index("rater")["signals"]
    assert words["r00"] != "none"
    assert words.drop("r00").eq("none").sum() >= 9


def test_without_key_scored_recordings_the_section_says_what_would_fill_it() -> None:
    section = charts_section.section(None, None, policy.read())
    assert section.status == "no_records"
    assert "key_ratings" in section.answer


def test_one_day_is_no_chart() -> None:
    table = scored().assign(date=pd.Timestamp("2026-01-05"))
    section = charts_section.section(
        control_charts(table, levels=LEVELS), key_trend(table, levels=LEVELS), policy.read()
    )
    assert "none scored on 6 days or more" in section.answer
    assert "cannot be told" in section.answer
    assert not section.figures
    assert set(section.tables[1].data["signals"]) == {"not charted"}


def test_the_sections_stand_on_a_page(made, found, recorded) -> None:
    sections = (
        drift.section(found[0], policy.read(), cycles=found[1], trend=recorded[1]),
        charts_section.section(*recorded, policy.read()),
    )
    report = type(made)(name="drift", title="Drift", period="", sections=sections, provenance=made.provenance)
    html = page.render(report).decode("utf-8")
    assert "key-drift-chart-r00" in html
    assert not re.search(r"\bnan\b|NaT|None", html)


def test_raters_of_few_candidates_are_counted_and_not_listed(strict) -> None:
    section = drift.section(drift_between(base_fit(ratings())), strict)
    assert not any(table.key.startswith("drift-raters") for table in section.tables)
    assert "12 raters of fewer than 10 candidates are not listed" in section.tables[0].note
