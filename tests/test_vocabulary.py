from mentorstats.declared.vocabulary import INTERVALS, RULES, STATUSES, interval_words, meanings
from mentorstats.estimate import Status


def test_every_status_has_a_meaning():
    assert set(meanings(STATUSES)) == {status.value for status in Status}


def test_rules_of_the_loader_have_meanings():
    assert all(text.endswith(".") for text in meanings(RULES).values())
    assert "declared_level" in meanings(RULES)


def test_ways_of_making_intervals_are_named_once_each_and_in_words():
    found = interval_words(["q_profile; one_step_z", "none", "one_step_z"])
    assert found == [meanings(INTERVALS)[name] for name in ("q_profile", "one_step_z")]
    assert not any("_" in words for words in meanings(INTERVALS).values())
