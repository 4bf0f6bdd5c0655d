"""Networks of raters: made by hand, against linear algebra and removal, large, invented and hostile."""

import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mentorstats import places
from mentorstats.calibration import by_version, in_common, linkage
from mentorstats.errors import ArgumentError, ColumnError
from mentorstats.estimate import Status

S, M = "supervisor", "mentor"
ALL = ("holds_together", "n_cut_off_same_role", "n_cut_off_other_role")


def ratings(rows, **more):
    """Make a long table of rows of rater, candidate and number of the candidate's lesson.

    A rater whose code begins with s is a supervisor, with t a trainer, else a mentor.
    """
    frame = pd.DataFrame(rows, columns=["rater", "candidate", "lesson"], dtype="str")
    frame["observation"] = frame["candidate"] + "." + frame["lesson"]
    frame["rater_role"] = frame["rater"].str[0].map({"s": S, "t": "trainer"}).fillna(M).astype("str")
    places = {"site": "Moss", "cohort": "2025", "rubric": "r", "rubric_version": "1"}
    return frame.assign(level=1, **{**places, **more})


def star(supervisor, candidates):
    """Lay out an ordinary placement: a supervisor and each candidate's own mentor in one lesson."""
    return [(rater, f"c{c}", 1) for c in candidates for rater in (supervisor, f"m{c}")]


def of(found, role, *columns):
    return found.raters.xs(role, level="rater_role")[list(columns)].T.to_dict("list")


def test_stars_are_compared_by_assumption():
    found = linkage(ratings(star("s1", "123") + star("s2", "456")))
    assert of(found, S, "network", "link", "status") == {
        "s1": [1, "none", "by_assumption"],
        "s2": [2, "none", "by_assumption"],
    }
    assert of(found, M, "network", "link", "status")["m4"] == [2, "other_role", "by_assumption"]
    assert "as if at random" in found.raters.loc[("s1", S), "status_note"]
    assert found.roles.loc[S, ["n_raters", "n_networks", "n_linked", "n_by_assumption"]].tolist() == [
        2,
        2,
        0,
        2,
    ]
    assert found.roles.loc[S, "share_largest"] == 0.5
    holding = found.raters.loc[("s1", S), list(ALL)]
    assert holding.tolist() == [True, 0, 2]
    assert found.raters.loc[("m1", M), list(ALL)].tolist() == [False, 0, 0]


def test_a_mentor_of_two_candidates_links_their_supervisors():
    rows = star("s1", "123") + star("s2", "456")
    found = linkage(ratings([*rows, ("m1", "c4", 2)]))
    assert of(found, S, "network", "link", "status")["s2"] == [1, "other_role", "ok"]
    assert found.raters.loc[("m1", M), list(ALL)].tolist() == [True, 2, 1]
    assert found.bridges.loc[("rater", "m1"), ["n_joined", "n_cut_off"]].tolist() == [3, 3]
    # without c1 the star of s1 (with m2 and m3) is left behind; so it is without c1's only lesson,
    # but for the lesson of c4 nobody but m1 holds the two stars together
    assert found.bridges.loc[("candidate", "c1"), "n_cut_off"] == 3
    assert found.bridges.loc[("lesson", "c1.1"), "n_cut_off"] == 3
    assert found.bridges.loc[("lesson", "c4.2"), ["n_joined", "n_cut_off"]].tolist() == [1, 4]
    assert ("lesson", "c4.1") in found.bridges.index
    assert found.roles.loc[S, "n_other_role"] == 2


def test_a_candidate_or_a_lesson_in_common_links_more_closely():
    apart = linkage(ratings([("s1", "c1", 1), ("s2", "c1", 2), ("s2", "c2", 1)]))
    assert of(apart, S, "link", "status", "n_shared_lessons", "n_shared_candidates") == {
        "s1": ["same_candidates", "ok", 0, 1],
        "s2": ["same_candidates", "ok", 0, 1],
    }
    together = linkage(ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s2", "c2", 1)]))
    assert of(together, S, "link", "n_lessons", "n_candidates", "n_shared_lessons", "n_met_same_role") == {
        "s1": ["same_lessons", 1, 1, 1, 1],
        "s2": ["same_lessons", 2, 2, 1, 1],
    }


def test_the_link_is_the_one_that_reaches_most():
    """Two pairs with a lesson in common, but only a mentor between the pairs."""
    pairs = [("s1", "c1", 1), ("s2", "c1", 1), ("s3", "c2", 1), ("s4", "c2", 1)]
    found = linkage(ratings([*pairs, ("m", "c1", 1), ("m", "c2", 1)]))
    assert set(found.raters.xs(S, level="rater_role")["link"]) == {"other_role"}
    third = linkage(ratings([*pairs, ("m", "c1", 1), ("m", "c2", 1), ("s5", "c1", 1)]))
    assert third.raters.xs(S, level="rater_role")["link"].tolist() == ["same_lessons"] * 2 + [
        "other_role"
    ] * 2 + ["same_lessons"]


def test_outside_the_network_of_most_a_group_is_by_assumption():
    rows = [(f"s{number}", "c1", 1) for number in range(4)] + [("s8", "c2", 1), ("s9", "c2", 1)]
    found = linkage(ratings(rows))
    assert of(found, S, "status", "link", "n_in_network")["s0"] == ["ok", "same_lessons", 4]
    assert of(found, S, "status", "link", "n_in_network")["s9"] == ["by_assumption", "same_lessons", 2]
    assert "Linked with 1 other of the role" in found.raters.loc[("s9", S), "status_note"]
    assert found.raters.loc[("s9", S), "coincides"] == ""


def test_half_of_a_role_is_not_most():
    found = linkage(ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s3", "c2", 1), ("s4", "c2", 1)]))
    assert set(found.raters["status"]) == {"by_assumption"}


@pytest.mark.parametrize(
    ("column", "said"), [("site", "site Fern"), ("cohort", "cohort Fern"), ("rubric_version", "Fern")]
)
def test_the_only_rater_of_a_place_cannot_be_told_from_it(column, said):
    frame = ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s3", "c2", 1), *star("s4", "34")])
    frame.loc[frame["candidate"].isin(["c3", "c4"]), column] = "Fern"
    found = linkage(frame)
    last = found.raters.loc[("s4", S)]
    assert last["status"] == "not_identified"
    assert said in last["coincides"]
    assert said in last["status_note"]
    assert found.raters.loc[("s3", S), "status"] == "by_assumption"
    assert found.roles.loc[S, ["n_linked", "n_by_assumption", "n_not_identified"]].tolist() == [0, 3, 1]


def test_alone_in_a_cohort_of_a_site_though_others_rated_there():
    frame = ratings([("s1", "c1", 1), ("s2", "c2", 1), ("s3", "c3", 1)])
    frame["site"] = ["Moss", "Moss", "Fern"]
    frame["cohort"] = ["2025", "2026", "2026"]
    found = linkage(frame)
    assert of(found, S, "status", "coincides") == {
        "s1": ["not_identified", "cohort 2025"],
        "s2": ["not_identified", "site, cohort and rubric version together"],
        "s3": ["not_identified", "site Fern"],
    }
    assert "version together" in found.raters.loc[("s2", S), "status_note"]


def test_two_stars_of_one_site_are_compared_with_each_other_and_not_with_other_sites():
    rows = [(f"s{number}", "c1", 1) for number in range(3)] + star("s8", "8") + star("s9", "9")
    frame = ratings(rows)
    frame.loc[frame["candidate"].isin(["c8", "c9"]), "site"] = "Fern"
    found = linkage(frame).raters
    assert found.loc[[("s8", S), ("s9", S)], "status"].tolist() == ["by_assumption"] * 2
    assert found.loc[[("s8", S), ("s9", S)], "coincides"].tolist() == ["site Fern"] * 2
    assert "due to site Fern" in found.loc[("s8", S), "status_note"]


def test_a_network_that_is_a_site_is_named():
    frame = ratings([(f"s{number}", "c1", 1) for number in range(3)] + [("s8", "c2", 1), ("s9", "c2", 1)])
    frame.loc[frame["candidate"] == "c2", "site"] = "Fern"
    found = linkage(frame)
    assert found.raters.loc[("s9", S), ["status", "coincides"]].tolist() == ["by_assumption", "site Fern"]
    assert found.raters.loc[("s1", S), "coincides"] == ""


def test_versions_of_a_rubric_link_nobody():
    frame = ratings([("s1", "c1", 1), ("s2", "c1", 1)])
    assert linkage(frame).raters["n_in_network"].tolist() == [2, 2]
    frame["rubric_version"] = ["1", "2"]
    found = linkage(frame)
    assert found.raters["n_in_network"].tolist() == [1, 1]
    assert found.raters["n_shared_candidates"].tolist() == [0, 0]
    assert found.raters["coincides"].tolist() == [
        "rubric version r, version 1",
        "rubric version r, version 2",
    ]
    assert any("rubric versions" in note for note in found.notes)


def test_each_version_by_itself():
    rows = [("s1", "c1", 1), ("s2", "c1", 1), ("s2", "c2", 1), ("s3", "c2", 1)]
    frame = ratings(rows, rubric_version=["1", "1", "2", "2"])
    assert set(linkage(frame).raters["n_in_network"]) == {3}
    apart = by_version(frame)
    assert list(apart) == [("r", "1"), ("r", "2")]
    assert [each.raters.index.get_level_values("rater").tolist() for each in apart.values()] == [
        ["s1", "s2"],
        ["s2", "s3"],
    ]
    assert by_version(frame.drop(columns=["rubric", "rubric_version"])) == {}


def test_agreed_ratings_link_nobody_unless_asked():
    frame = ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s2", "c2", 1)])
    frame["independent"] = pd.array([True, False, pd.NA], dtype="boolean")
    found = linkage(frame)
    assert found.raters["network"].tolist() == [1, 2]
    assert found.n_ratings == 2
    assert found.notes == ("1 rating left out: not independent.",)
    assert linkage(frame, dependent=True).raters["network"].tolist() == [1, 1]


def test_thin_links_and_firm_parts():
    """Two groups of three who share six lessons each, and two lessons between the groups."""
    rows = [
        (f"s{group}{rater}", f"c{group}", lesson) for group in "ab" for lesson in range(6) for rater in "123"
    ]
    rows += [("sa1", "cb", 7), ("sb1", "cb", 7), ("sa2", "ca", 8), ("sb3", "ca", 8), ("sb4", "cb", 0)]
    found = linkage(ratings(rows), fewest_lessons=3)
    assert found.parts.to_dict("index") == {
        (1, 1): {"n_raters": 3, "n_joining_lessons": 2.0},
        (1, 2): {"n_raters": 3, "n_joining_lessons": pytest.approx(3.0)},
    }
    assert found.raters["thin"].tolist() == [False] * 3 + [True] * 4
    assert "fewer than 3 shared lessons" in found.raters.loc[("sb4", S), "status_note"]
    assert linkage(ratings(rows), fewest_lessons=1).parts.empty
    with pytest.raises(ArgumentError, match="fewest_lessons"):
        linkage(ratings(rows), fewest_lessons=0)


def estimable(frame, first, second):
    """Whether the two-way model without interaction holds the difference of two raters."""
    design = pd.get_dummies(frame[["rater", "candidate"]], dtype=float)
    contrast = np.zeros(design.shape[1])
    contrast[design.columns.get_loc(f"rater_{first}")] = 1
    contrast[design.columns.get_loc(f"rater_{second}")] = -1
    both = np.vstack([design, contrast])
    return np.linalg.matrix_rank(both) == np.linalg.matrix_rank(design)


rows_of = st.lists(
    st.tuples(st.sampled_from(["s1", "s2", "s3", "m1", "m2"]), st.sampled_from("abcde"), st.integers(1, 2)),
    min_size=1,
    max_size=9,
)


@given(rows_of)
@settings(max_examples=30, deadline=None)
def test_two_raters_share_a_network_where_their_difference_is_estimable(rows):
    """Weeks and Williams [weeks_williams_1964]: connected cells are where contrasts can be estimated."""
    frame = ratings(rows)
    network = linkage(frame).raters["network"].droplevel("rater_role")
    for first in network.index:
        for second in network.index.drop(first):
            assert (network[first] == network[second]) == estimable(frame, first, second)


def pieces(rows):
    """Sets of raters joined by candidates, by merging sets row after row."""
    found = []
    for rater, candidate in rows:
        near = [each for each in found if {rater, candidate} & each]
        found = [each for each in found if each not in near] + [{rater, candidate}.union(*near)]
    return found


def left_behind(frame, gone, raters):
    """Raters outside the largest remaining piece of their network when rows are taken away."""
    after = pieces(frame.loc[~gone, ["rater", "candidate"]].to_numpy().tolist())
    sizes = [len(each & raters) for each in after]
    return len(raters) - max(sizes, default=0) if sum(sizes) else max(len(raters) - 1, 0)


@given(rows_of)
@settings(max_examples=30, deadline=None)
def test_what_holds_together_is_what_removal_takes_apart(rows):
    frame = ratings(rows)
    found = linkage(frame)
    raters, code = found.raters.droplevel("rater_role"), frame["rater"]
    for rater, row in raters.iterrows():
        others = set(raters.index[raters["network"] == row["network"]]) - {rater}
        alike = {other for other in others if other[0] == rater[0]}
        assert row["holds_together"] == (left_behind(frame, code == rater, others) > 0)
        assert row["n_cut_off_same_role"] == left_behind(frame, code == rater, alike)
        assert row["n_cut_off_other_role"] == left_behind(frame, code == rater, others - alike)
    for kind, column in (("lesson", "observation"), ("candidate", "candidate")):
        for thing in frame[column].unique():
            network = raters.loc[code[frame[column] == thing].iloc[0], "network"]
            members = set(raters.index[raters["network"] == network])
            told = found.bridges["n_cut_off"].get((kind, thing), 0)
            assert told == left_behind(frame, frame[column] == thing, members)


def test_a_large_design_as_a_walk_from_rater_to_rater_finds_it():
    rng = np.random.default_rng(3)
    n = 100_000
    rater = rng.integers(0, 500, n)
    site = rater % 10
    candidate = site * 400 + rng.integers(0, 400, n) // 4 * 4 + (rater // 250)
    frame = pd.DataFrame(
        {
            "observation": [f"o{a}-{b}" for a, b in zip(candidate, rng.integers(0, 8, n), strict=True)],
            "candidate": candidate.astype("str"),
            "rater": [f"r{number:03}" for number in rater],
            "rater_role": np.where(rater % 7, M, S),
            "site": site.astype("str"),
            "level": 1,
        }
    )
    found = linkage(frame)
    sharing = pd.crosstab(frame["rater"], frame["candidate"]).gt(0).to_numpy(dtype=float)
    meet = sharing @ sharing.T > 0
    reach = np.linalg.matrix_power(meet.astype(float) / 500, 16) > 0
    network = found.raters["network"].droplevel("rater_role").sort_index().to_numpy(dtype=int)
    assert ((network[:, None] == network) == reach).all()
    assert network.max() == 20
    met = (
        found.raters[["n_met_same_role", "n_met_other_role"]].sum(axis=1).droplevel("rater_role").sort_index()
    )
    assert met.tolist() == (meet.sum(axis=1) - 1).tolist()
    assert set(found.raters["status"]) == {"by_assumption"}


@pytest.fixture(scope="module")
def frame(invented):
    """Ratings of the invented programme, with their placement."""
    lessons = invented.observations[["observation", "placement"]].merge(invented.placements, on="placement")
    return invented.ratings.merge(lessons.drop(columns="mentor"), on="observation")


def test_the_invented_programme_has_the_networks_that_were_planted(invented, frame):
    truth = invented.truth.raters.set_index(["rater", "role"])["network"]
    found = linkage(frame)
    assert found.raters["network"].sort_index().tolist() == truth.sort_index().tolist()
    far = found.raters["network"] == 2
    assert set(found.raters.loc[~far, "status"]) == {"ok"}
    assert set(found.raters.loc[far, "status"]) == {"by_assumption"}
    assert set(found.raters.loc[far, "coincides"]) == {f"site {invented.truth.unlinked_site}"}
    assert set(found.raters.xs(S, level="rater_role")["link"]) == {"same_lessons"}
    assert found.n_ratings == int((frame["level"].notna() & ~frame["independent"].eq(False)).sum())


def test_cohorts_and_sites_of_the_invented_programme_by_raters_in_common(invented, frame):
    cohorts = in_common(frame)
    served = frame[frame["level"].notna()].groupby("rater")["cohort"].agg(set)
    supervisors = invented.raters.loc[invented.raters["role"] == S, "rater"]
    for (role, first, second), row in cohorts.iterrows():
        kept = served[served.index.isin(supervisors) == (role == S)]
        assert row["n_raters_both"] == sum({first, second} <= each for each in kept)
    assert set(cohorts["status"]) == {"ok"}
    sites = in_common(frame, by="site").reset_index()
    far = (sites[["first", "second"]] == invented.truth.unlinked_site).any(axis=1)
    assert set(sites.loc[far, "status"]) == {"unlinked"}
    assert set(sites.loc[~far, "status"]) == {"ok"}


def test_cohorts_without_a_rater_in_common():
    frame = ratings([("s1", "c1", 1), ("s2", "c2", 1), ("m1", "c1", 1), ("m1", "c2", 1)])
    frame["cohort"] = ["2025", "2026", "2025", "2026"]
    found = in_common(frame)
    assert found.loc[(S, "2025", "2026"), ["n_raters_both", "n_networks", "status"]].tolist() == [0, 1, "ok"]
    assert "chain" in found.loc[(S, "2025", "2026"), "status_note"]
    alone = in_common(frame[frame["rater_role"] == S])
    assert alone.loc[(S, "2025", "2026"), ["n_raters_both", "status"]].tolist() == [0, "cohort_is_rater"]
    gone = in_common(frame[frame["rater"] != "s2"])
    assert gone.loc[(S, "2025", "2026"), "status"] == "no_records"
    assert in_common(frame[:0]).empty
    with pytest.raises(ArgumentError, match="by is 'level'"):
        in_common(frame, by="level")
    with pytest.raises(ColumnError, match="'site'"):
        in_common(frame.drop(columns="site"), by="site")


def test_nothing_is_dropped_in_silence():
    frame = ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s2", "c2", 1), ("s3", "c2", 1), ("s4", "c3", 1)])
    frame.loc[0, "rater"] = None
    frame.loc[1, "rater_role"] = None
    frame["level"] = frame["level"].astype("Int64")
    frame.loc[3, "level"] = pd.NA
    frame.loc[4, ["observation", "candidate"]] = None
    found = linkage(frame)
    assert found.n_ratings == 1
    assert set(found.notes) == {
        "2 ratings left out: no rater or role.",
        "1 rating left out: no level.",
        "1 rating left out: neither lesson nor candidate.",
        "2 raters have no rating that could be used.",
    }
    assert of(found, S, "status", "n_lessons") == {
        "s2": ["one_rater", 1],
        "s3": ["no_records", 0],
        "s4": ["no_records", 0],
    }
    assert found.raters["network"].isna().tolist() == [False, True, True]
    assert found.roles.loc[S, ["n_raters", "n_no_records", "n_one_rater", "share_largest"]].tolist() == [
        1,
        2,
        1,
        1,
    ]


def test_a_lesson_without_a_known_candidate_still_links_its_raters():
    frame = ratings([("s1", "c1", 1), ("s2", "c1", 1), ("s3", "c2", 1), ("s4", "c2", 2)])
    frame["candidate"] = None
    found = linkage(frame)
    assert found.raters["network"].tolist() == [1, 1, 2, 3]
    assert found.raters["n_candidates"].tolist() == [0, 0, 0, 0]
    assert "3 lessons without a known candidate" in found.notes[0]
    frame.loc[0, "candidate"] = "c1"
    assert linkage(frame).raters["n_candidates"].tolist() == [1, 1, 0, 0]


def test_a_person_in_two_roles_is_two_raters():
    frame = ratings([("x", "c1", 1), ("x", "c2", 1), ("s1", "c2", 1)])
    frame.loc[1, "rater_role"] = S
    found = linkage(frame)
    assert found.raters.index.tolist() == [("x", M), ("s1", S), ("x", S)]
    assert found.raters["network"].tolist() == [2, 1, 1]
    assert found.raters["status"].tolist() == ["one_rater", "ok", "ok"]
    assert any("several roles" in note for note in found.notes)


def test_one_rater_and_no_ratings():
    one = linkage(ratings([("s1", "c1", 1), ("s1", "c2", 1)]))
    assert one.raters[["status", "link", "thin", "holds_together"]].to_numpy().tolist() == [
        ["one_rater", "none", False, False]
    ]
    none = linkage(ratings([]))
    assert none.raters.empty
    assert none.roles.empty
    assert none.bridges.empty
    assert none.parts.empty
    assert list(none.raters.columns) == list(one.raters.columns)
    assert in_common(ratings([])).empty
    assert by_version(ratings([])) == {}


def test_wrong_tables_are_refused_with_what_to_do():
    frame = ratings([("s1", "c1", 1), ("s2", "c2", 1)])
    with pytest.raises(ColumnError, match="'rater_role'"):
        linkage(frame.drop(columns="rater_role"))
    with pytest.raises(
        ArgumentError, match=r"lesson '1' belongs to candidates 'c1' and 'c2'.*code of its own"
    ):
        linkage(frame.assign(observation="1"))


def test_order_of_rows_and_kinds_of_columns_do_not_matter():
    rows = star("s1", "123") + star("s2", "456") + [("m1", "c4", 2), ("s3", "c4", 1), ("s4", "c9", 1)]
    frame = ratings(rows)
    found = linkage(frame)
    mixed = frame.sample(frac=1, random_state=4)
    for name in ("rater", "candidate", "site", "rater_role"):
        mixed[name] = mixed[name].astype("category")
    mixed["observation"] = mixed["observation"].astype("string[pyarrow]")
    again = linkage(mixed)
    pd.testing.assert_frame_equal(found.raters, again.raters)
    pd.testing.assert_frame_equal(found.roles, again.roles)
    pd.testing.assert_frame_equal(found.bridges.sort_index(), again.bridges.sort_index())
    pd.testing.assert_frame_equal(found.parts, again.parts)


def test_columns_and_statuses_are_those_of_the_closed_lists():
    text = (places.data_dictionary() / "vocabulary" / "result_columns.toml").read_text(encoding="utf-8")
    known = set(tomllib.loads(text))
    frame = ratings([*star("s1", "12"), ("m1", "c2", 2)])
    found = linkage(frame)
    for table in (found.raters, found.roles, found.bridges, found.parts, in_common(frame)):
        assert set(table.columns) <= known, set(table.columns) - known
    assert set(found.raters["status"]) <= {status.value for status in Status}
