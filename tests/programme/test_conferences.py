"""Visits held to rules: intervals against published values, each rule against a hand count, edges."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from mentorstats import policy, programme
from mentorstats.programme.exact_shares import exact_shares

PUBLISHED = {"cases": [(81, 263), (15, 148)], "clopper_pearson": [(0.2527, 0.3676), (0.0578, 0.1617)]}
PRINTED = 5e-5  # four decimals are printed


@pytest.fixture(scope="module")
def shipped():
    return policy.read()


def placements(n=1, **given):
    frame = pd.DataFrame(
        {
            "placement": [f"p{i}" for i in range(n)],
            "candidate": [f"c{i}" for i in range(n)],
            "site": "Alder",
            "start": pd.Timestamp("2025-09-01"),
            "end": pd.Timestamp("2025-12-10"),
        }
    )
    return frame.assign(**given)


def visits(days, placement="p0", **given):
    date = pd.Timestamp("2025-09-01") + pd.to_timedelta(list(days), unit="D")
    frame = pd.DataFrame(
        {
            "observation": [f"{placement}-{i}" for i in range(len(days))],
            "placement": placement,
            "date": date,
            "minutes": 50,
            "purpose": "candidate_teaches",
            "visit_mode": "in_person",
            "pre_conference": True,
            "debrief_date": date,
            "debrief_minutes": 20,
        }
    )
    return frame.assign(**given)


def found(seen, placed, shipped, ratings=None):
    return programme.visits_within_rules(seen, placed, ratings, shipped)


def kept(seen, placed, shipped):
    rows = found(seen, placed, shipped).by_rule.set_index("rule")
    return rows["n_kept"].to_dict(), rows["n_units"].to_dict()


def test_exact_intervals_are_those_printed_by_newcombe_1998():
    # Newcombe (1998), Statistics in Medicine 17, Table I: Clopper-Pearson limits of 81/263 and 15/148.
    for (yes, n), limits in zip(PUBLISHED["cases"], PUBLISHED["clopper_pearson"], strict=True):
        cases = pd.DataFrame({"kept": [True] * yes + [False] * (n - yes), "candidate": "c", "group": "g"})
        row = exact_shares(cases, ["group"]).loc["g"]
        assert (row["low"], row["high"]) == pytest.approx(limits, abs=PRINTED)
        test = stats.binomtest(yes, n).proportion_ci(0.95, method="exact")
        assert (row["low"], row["high"]) == pytest.approx((test.low, test.high), abs=1e-9)


def test_what_is_not_known_is_left_out_and_a_group_without_anything_has_a_status():
    cases = pd.DataFrame(
        {
            "kept": pd.array([True, None, None], dtype="boolean"),
            "candidate": ["a", "b", "c"],
            "group": ["x", "x", None],
        }
    )
    rows = exact_shares(cases, ["group"]).reset_index()
    assert rows["n_units"].tolist() == [1, 0]
    assert rows["n_left_out"].tolist() == [1, 1]
    assert rows["n_candidates"].tolist() == [1, 0]
    assert rows["status"].tolist() == ["ok", "no_records"]
    assert rows["value"].isna().tolist() == [False, True]


def test_a_placement_by_the_rules_keeps_all_of_them(shipped):
    yes, n = kept(visits([10, 30, 55, 80]), placements(), shipped)
    assert yes == n
    assert n["visit_minutes"] == 4
    assert n["visit_gap_days"] == 3
    assert n["first_visit"] == n["visits_each_half"] == n["visits_in_person"] == 1


@pytest.mark.parametrize(
    ("rule", "seen"),
    [
        ("visit_minutes", visits([10, 30, 55, 80], minutes=44)),
        ("visit_pre_conference", visits([10, 30, 55, 80], pre_conference=False)),
        ("visit_debrief_days", visits([10, 30, 55, 80], debrief_date=pd.Timestamp("2026-01-01"))),
        ("first_visit", visits([34, 45, 55, 80])),
        ("visits_each_half", visits([10, 30, 49, 76])),
        ("visits_in_person", visits([10, 30, 55, 80], visit_mode="recording")),
        ("visit_gap_days", visits([1, 31, 61, 91])),
    ],
)
def test_each_rule_is_missed_by_what_breaks_it_alone(rule, seen, shipped):
    yes, n = kept(seen, placements(), shipped)
    assert [name for name in n if yes[name] < n[name]] == [rule]
    assert yes[rule] == 0


def test_a_placement_without_visits_misses_what_is_asked_of_placements(shipped):
    yes, n = kept(visits([10, 30, 55, 80]), placements(2), shipped)
    for rule in ("first_visit", "visits_each_half", "visits_in_person"):
        assert (yes[rule], n[rule]) == (1, 2)


def test_placements_that_ended_early_are_not_held_to_rules_for_whole_ones(shipped):
    _, n = kept(visits([10]), placements(status="ended_early"), shipped)
    assert n["visit_minutes"] == 1
    assert "first_visit" not in n


def test_visits_are_those_of_the_role_and_lessons_to_watch_are_none(shipped):
    seen = visits(
        [10, 30, 55, 80], purpose=["mentor_teaches", "both_teach", "candidate_teaches", "both_teach"]
    )
    ratings = pd.DataFrame(
        {
            "observation": ["p0-0", "p0-1", "p0-2", "p0-3"],
            "rater_role": ["supervisor", "supervisor", "mentor", "supervisor"],
        }
    )
    of_role = found(seen, placements(), shipped, ratings)
    assert (of_role.role, of_role.n_visits) == ("supervisor", 2)
    assert found(seen, placements(), shipped).n_visits == 3


def test_spans_are_quantiles_of_days_and_minutes(shipped):
    spans = found(visits([10, 30, 55, 80]), placements(), shipped).spans
    assert spans.loc["gap_days", ["median", "largest"]].tolist() == [25.0, 25.0]
    assert spans.loc["first_day", "median"] == 10
    assert spans.loc["minutes", "ninth_decile"] == 50
    assert spans.loc["debrief_days", "largest"] == 0


def test_no_visit_and_a_lesson_of_which_nothing_is_known(shipped):
    none = found(visits([]), placements(), shipped)
    assert none.n_visits == 0
    bare = pd.DataFrame({"observation": ["o"], "placement": ["p0"]})
    rows = found(bare, placements(site=None), shipped).by_rule.set_index("rule")
    assert (rows["status"] == np.where(rows["n_units"] > 0, "ok", "no_records")).all()
    assert rows.loc["visit_minutes", "status"] == "no_records"
    assert rows.loc["visit_debriefed", "status"] == "no_records"


def test_the_demo_keeps_its_planted_shares(invented_records, shipped):
    records = invented_records
    rows = found(records.observations, records.placements, shipped, records.ratings).by_rule.set_index("rule")
    for rule, planted in {
        "visit_pre_conference": 0.75,
        "visit_debriefed": 0.92,
        "visit_debrief_days": 0.95,
    }.items():
        assert rows.loc[rule, "low"] < planted < rows.loc[rule, "high"], rule


def test_modelled_lessons_are_counted_by_placement_third_and_debrief(shipped):
    seen = pd.concat(
        [
            visits(
                [5, 20, 95],
                purpose="mentor_teaches",
                debrief_date=[pd.NaT, *pd.to_datetime(["2025-10-01"] * 2)],
            ),
            visits([10], placement="p1"),
        ]
    )
    got = programme.modelled_lessons(seen, placements(2), shipped)
    assert got.n_lessons == 3
    assert got.placements.iloc[0][["n_units", "n_kept"]].tolist() == [2, 1]
    assert got.debriefed.iloc[0][["n_units", "n_kept"]].tolist() == [3, 2]
    assert got.thirds["n_lessons"].tolist() == [2, 0, 1]
    assert programme.modelled_lessons(visits([10]), placements(), shipped).status == "no_records"


def test_columns_are_those_of_the_vocabulary(shipped):
    import tomllib

    from mentorstats import places

    known = set(tomllib.loads((places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text()))
    got = found(visits([10, 30]), placements(), shipped)
    watched = programme.modelled_lessons(visits([10]), placements(), shipped)
    for table in (got.by_rule, got.by_site, got.spans.reset_index(), watched.placements, watched.thirds):
        assert set(table.columns) <= known
