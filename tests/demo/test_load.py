"""What the loader makes of the exports: every planted fault and no other, and the clean rows as invented."""

import json
import tomllib

import pandas as pd
import pytest

import mentorstats as ms
from mentorstats import demo, dictionary, places

PLACE = ["file", "sheet", "row", "column"]
NOT_PLANTED = {
    "maximum": "only the rubrics have one, and nothing is read under faulty rubrics",
    "unique_key": "likewise",
    "pattern": "no field asks for a form",
    "no_table": "every table is there",
    "ambiguous_date": "each export keeps to one format",
    "skipped_rows": "the mapping skips none",
    "two_placements_at_once": "every candidate is placed once",
    "rates_oneself": "no candidate is a rater",
    "expired_certificate": "certificates last three years",
}


@pytest.fixture(scope="module", params=[demo.SEED, 11, 12])
def written(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "quillmoor"
    demo.write(folder, seed=request.param)
    truth = json.loads((folder / demo.TRUTH).read_text(encoding="utf-8"))
    return demo.programme(request.param), ms.load(folder), pd.DataFrame(truth["faults"])


def by_place(frame):
    """Rule and effect of each fault by its place, the row 0 where it is the whole file."""
    return {
        (file, sheet, 0 if pd.isna(row) else int(row), column): (rule, effect)
        for file, sheet, row, column, rule, effect in frame[[*PLACE, "rule", "effect"]].itertuples(
            index=False
        )
    }


def test_every_planted_fault_is_found_and_no_other(written):
    _, loaded, faults = written
    assert by_place(loaded.problems) == by_place(faults)
    assert len(loaded.problems) == len(faults)


def test_every_rule_of_the_loader_is_planted(written):
    _, _, faults = written
    path = places.data_dictionary() / "vocabulary" / "problem_rules.toml"
    rules = set(tomllib.loads(path.read_text(encoding="utf-8")))
    assert set(faults["rule"]) == rules - set(NOT_PLANTED)


def clean(loaded, faults, table):
    """Loaded rows without those that were planted and only noted, in the order of their key."""
    noted = faults[(faults["effect"] == "notice") & faults["row"].notna()]
    places = pd.MultiIndex.from_frame(noted[PLACE[:3]].astype({"row": "int64"}))
    rows = pd.MultiIndex.from_frame(loaded.tables[table][PLACE[:3]].astype({"row": "int64"}))
    return loaded.tables[table][~rows.isin(places)].drop(columns=PLACE[:3])


def in_order(frame, table):
    return frame.sort_values(list(dictionary.table(table).primary_key), ignore_index=True)


@pytest.mark.parametrize("table", [name for name in dictionary.tables() if name != "ratings"])
def test_clean_rows_load_as_invented(written, table):
    invented, loaded, faults = written
    pd.testing.assert_frame_equal(
        in_order(clean(loaded, faults, table), table), in_order(getattr(invented, table), table)
    )


def test_clean_ratings_load_as_invented(written):
    invented, loaded, faults = written
    lost = {tuple(key) for key in faults["lost"] if key}
    assert len(lost) == 9
    keys = invented.ratings[["observation", "rater", "criterion"]].apply(tuple, axis=1)
    found = clean(loaded, faults, "ratings")
    orphans = ~found["observation"].isin(invented.observations["observation"])
    assert 0 < orphans.sum() < 40  # of two lessons that were set aside
    assert loaded.long().loc[orphans.index[orphans], "candidate"].isna().all()
    pd.testing.assert_frame_equal(
        in_order(found[~orphans], "ratings"),
        in_order(invented.ratings[~keys.isin(lost)], "ratings"),
    )


def test_the_long_table_knows_weeks_and_ranks(written):
    invented, loaded, _ = written
    long = loaded.long()
    assert long["week"].between(1, 14).mean() > 0.999
    assert set(long["rank"].dropna()) == {1, 2, 3, 4}
    assert set(long["cohort"].dropna()) == set(invented.placements["cohort"])


def test_planted_faults_are_a_few_dozen(written):
    _, _, faults = written
    assert 36 <= len(faults.drop_duplicates(PLACE[:3])) <= 72
