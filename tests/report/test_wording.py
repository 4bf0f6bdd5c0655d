import pandas as pd

from mentorstats.report import wording


def test_different_labels_have_different_addresses():
    assert wording.key("agreement", "hearthside", "1") == "agreement-hearthside-1"
    keys = {
        wording.key("t", name) for name in ("1.0", "1-0", "1 0", "\N{LATIN SMALL LETTER E WITH ACUTE}", "-")
    }
    assert len(keys) == 5
    assert all(key.replace("-", "").isalnum() and key.isascii() for key in keys)


def test_levels_are_called_what_all_criteria_call_them(declared):
    assert wording.level_labels(declared, "hearthside", "1")[1] == "With support"
    own = declared.assign(label=declared["label"] + declared["criterion"])
    assert wording.level_labels(own, "hearthside", "1")[1] == "support"
    neither = own.assign(level=own["label"])
    assert wording.level_labels(neither, "hearthside", "1")[1] == "Level 1"
    assert wording.level_labels(declared.assign(label=pd.NA), "hearthside", "2")[4] == "adapts"


def test_a_rank_that_no_level_has_keeps_its_place(declared):
    gap = declared[declared["rank"] != 2]
    assert list(wording.level_labels(gap, "hearthside", "1")) == [1, 2, 3, 4]


def test_a_rubric_without_titles_has_none(declared):
    assert wording.criterion_titles(declared.drop(columns="title"), "hearthside", "1") == {}
    assert "t5b1" not in wording.criterion_titles(declared, "hearthside", "1")


def test_lists_read_as_prose():
    assert wording.listed([]) == ""
    assert wording.listed(["a"]) == "a"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"


def test_the_period_says_days_and_cycles(make_long):
    table = make_long()
    assert wording.period(table).endswith("cycles 2025 and 2026")
    assert wording.period(table.assign(date=pd.NaT, cohort=None)) == "period not recorded"
