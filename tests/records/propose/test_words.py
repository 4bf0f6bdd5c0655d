"""How like each other headings are, and what words of cells mean."""

import pytest

from mentorstats.records.propose import words


@pytest.mark.parametrize(
    ("heading", "table", "field"),
    [
        ("STU_ID", "placements", "candidate"),
        ("Univ. Supervisor", "placements", "supervisor"),
        ("PLC_BEG_DT", "placements", "start"),
        ("startDate", "placements", "start"),
        ("Superviser", "placements", "supervisor"),
        ("Date of\nvisit", "observations", "date"),
        ("How long did you observe (minutes)?", "observations", "minutes"),
        ("What is your role?", "ratings", "rater_role"),
        ("Rubric criterion", "ratings", "criterion"),
        ("Score (1-4)", "ratings", "level"),
        ("Certified until", "raters", "expires_on"),
    ],
)
def test_a_heading_is_most_like_its_field(heading, table, field):
    from mentorstats import dictionary

    scores = {name: words.like_field(heading, table, name) for name in dictionary.table(table).names}
    assert max(scores, key=scores.get) == field
    assert scores[field] > 0.55


@pytest.mark.parametrize(
    ("one", "other"),
    [("Score", "Scorer"), ("Rubric criterion", "Rubric"), ("No.", "Number of strengths"), ("", "Date")],
)
def test_headings_that_only_look_alike(one, other):
    assert words.likeness(one, other) < 0.7


def test_likeness_is_that_of_words_in_any_order_and_spelling():
    assert words.likeness("Visit date", "Date of visit") > 0.9
    assert words.likeness("VISIT_DATE", "visit date") == 1.0
    assert words.likeness("Kandidat", "Candidate") > 0.7
    assert words.likeness("Candidate", "Date") == 0.0


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("Mentor evaluations", "mentor"),
        ("supervisor_forms_2025", "supervisor"),
        ("Cooperating Teacher: 1.1 Plans", "mentor"),
        ("Mentor and supervisor", None),
        ("Obs 2025", None),
    ],
)
def test_roles_in_names(text, role):
    assert words.role_in(text) == role


def test_words_of_categories():
    groups = words.groups("placements", "status")
    assert words.category("Withdrew ", groups) == "ended_early"
    assert words.category("In-Progress", groups) == "running"
    assert words.category("lost", groups) is None
    assert words.slug("Asks questions that make pupils think") == "asks_questions_that_make"
