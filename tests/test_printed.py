"""What results say of themselves at the prompt and in a notebook."""

from dataclasses import dataclass, fields, is_dataclass

import numpy as np
import pandas as pd
import pytest
from printed_forms import exists, plain

import mentorstats as ms
from mentorstats import policy
from mentorstats.caution import CAUTION
from mentorstats.printed import Printed, Shown, counted, counts


def test_text_and_html_say_the_same():
    one = Printed(title="A <b>", facts=("2 & 3",), notes=("n",), ask=(".x",), people=True)
    assert one.text.splitlines() == ["A <b>", "  2 & 3", "  Note: n", "  Next: .x", CAUTION]
    assert "<strong>A &lt;b&gt;</strong>" in one.html
    assert "<li>2 &amp; 3</li><li>Note: n</li><li>Next: <code>.x</code></li>" in one.html
    assert Printed(title="A").text == "A"


def test_many_notes_are_counted():
    notes = tuple("abcdef")
    assert Printed(title="A", notes=notes).text.splitlines()[-1] == "  Note: 2 more notes in .notes."


def test_numbers_have_their_nouns():
    assert counted(1, "rater") == "1 rater"
    assert counted(1204, "rating") == "1,204 ratings"
    assert counted(2, "criterion", "criteria") == "2 criteria"
    assert counts([(0, "rater"), (1, "lesson")]) == "1 lesson"
    assert counts([]) == "nothing"


@dataclass(frozen=True, repr=False)
class Held(Shown):
    """Two tables and a name.

    More words.
    """

    about_people = True

    first: pd.DataFrame
    others: dict
    name: str
    status: str = "ok"
    status_note: str = ""


def test_a_result_that_says_nothing_else_tells_how_long_its_tables_are():
    frame = pd.DataFrame({"x": [1, 2]})
    text = plain(Held(frame, {"a": frame}, "someone"), people=True)
    assert text.splitlines()[:3] == ["Two tables and a name", "  first: 2 rows", "  others: 1 table"]
    assert "Next: .first, .others" in text
    assert "someone" not in text
    assert "status few_levels: Why." in repr(Held(frame, {}, "x", "few_levels", "Why."))


def test_records(invented_records):
    text = plain(invented_records, people=True)
    n = len(invented_records.ratings)
    assert f"{n:,} ratings" in text
    assert f"{len(invented_records.problems):,} faults found" in text
    exists(text, invented_records, ms)


def test_a_study():
    rng = np.random.default_rng(4)
    person, rater = (each.ravel() for each in np.meshgrid(range(12), range(3)))
    frame = pd.DataFrame({"person": person, "rater": rater, "score": rng.normal(size=36)})
    study = ms.reliability.g_study(frame, object="person", facets="rater", score="score")
    text = plain(study, people=False)
    assert "36 scores, 0 left out" in text
    assert all(f"{name}: " in text for name in study.components.index)
    exists(text, study, ms.reliability)


def test_surveys_print_without_computing(invented_records):
    long, rules = invented_records.long(), policy.read()
    made = [
        (
            ms.calibration,
            True,
            {"placements": invented_records.placements, "observations": invented_records.observations},
        ),
        (ms.reliability, False, {"rubrics": invented_records.rubrics}),
    ]
    for module, people, more in made:
        found = module.Survey(long=long, policy=rules, **more)
        text = plain(found, people=people)
        assert f"{len(long):,} ratings" in text
        exists(text, found, module)
        assert not {"base", "plans"} & set(vars(found)), "printing must not fit a model"


def test_a_survey_of_agreement(invented_records):
    long = invented_records.long()
    found = ms.agreement.Survey(long, invented_records.rubrics, policy.read(), invented_records.observations)
    text = plain(found, people=False)
    assert f"{len(found.pairs):,} pairs" in text
    exists(text, found, ms.agreement)


def test_a_survey_of_accuracy(invented_records):
    found = ms.key_scores.Survey(invented_records.long(), invented_records.key_ratings, policy.read())
    text = plain(found, people=True)
    assert f"{len(invented_records.key_ratings):,} key-scored ratings" in text
    exists(text, found, ms.key_scores)


@pytest.mark.parametrize(
    "package", [ms, ms.agreement, ms.calibration, ms.key_scores, ms.mixed, ms.reliability]
)
def test_no_public_result_dumps_its_frames(package):
    public = [getattr(package, name) for name in package.__all__]
    results = [one for one in public if isinstance(one, type) and is_dataclass(one)]
    for one in results:
        if any("DataFrame" in str(part.type) for part in fields(one)):
            assert issubclass(one, Shown), one
            assert one.__repr__ is Shown.__repr__, one
