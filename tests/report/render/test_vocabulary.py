from mentorstats.estimate import Status
from mentorstats.report.render.vocabulary import RULES, STATUSES, meanings


def test_every_status_has_a_meaning():
    assert set(meanings(STATUSES)) == {status.value for status in Status}


def test_rules_of_the_loader_have_meanings():
    assert all(text.endswith(".") for text in meanings(RULES).values())
    assert "declared_level" in meanings(RULES)
