"""What the page opens with: heaviest first, at most five, good ones last."""

from mentorstats import policy
from mentorstats.estimate import Status
from mentorstats.report.findings import FIRST, summary, weights
from mentorstats.report.model import Concern, Finding, Section, Verdict


def found(concern, what="What.", action="Act."):
    return Finding(concern=concern, what=what, how_sure="Sure.", action=action)


def section(key, *findings, **more):
    return Section(key=key, name=key, question=f"{key}?", answer="Yes.", findings=findings, **more)


def test_every_concern_has_a_weight_in_the_policy_in_the_order_of_harm() -> None:
    weight = weights(policy.read())
    ordered = [
        Concern.RECORDS_UNUSABLE,
        Concern.NOT_COMPARABLE,
        Concern.AGREEMENT,
        Concern.TOO_FEW_VISITS,
        Concern.RATERS_FLAGGED,
        Concern.MENTORING,
        Concern.FAIRNESS,
        Concern.GROUPS_DIFFER,
        Concern.CERTIFICATION,
    ]
    assert sorted(weight, key=weight.__getitem__, reverse=True) == ordered


def test_heavier_findings_stand_first_and_good_ones_after_those_that_ask() -> None:
    weight = weights(policy.read())
    sections = [
        section("a", found(Concern.FAIRNESS, "Fair."), found(Concern.RECORDS_UNUSABLE, "Good.", action="")),
        section("b", found(Concern.RECORDS_UNUSABLE, "Lost.")),
    ]
    first = summary(sections, weight).first
    assert [(item.finding.what, item.section) for item in first] == [
        ("Lost.", "b"),
        ("Fair.", "a"),
        ("Good.", "a"),
    ]


def test_at_most_five_and_the_rest_is_named() -> None:
    sections = [section(str(n), found(Concern.FAIRNESS, f"{n}.")) for n in range(7)]
    made = summary(sections, weights(policy.read()))
    assert len(made.first) == FIRST == 5
    assert [item.finding.what for item in made.others] == ["5.", "6."]
    assert not made.quiet


def test_quiet_and_missing_sections_are_told_from_each_other() -> None:
    sections = [section("quiet"), section("missing", needs="a table"), section("failed", defect="x")]
    made = summary(sections, weights(policy.read()))
    assert [item.key for item in made.quiet] == ["quiet"]
    assert [item.key for item in made.missing] == ["missing"]


def test_what_gave_no_clear_answer_is_not_said_to_need_nothing() -> None:
    sections = [
        section("clear", verdict=Verdict.YES),
        section("withheld", status=Status.NOT_IDENTIFIED),
        section("open", verdict=Verdict.NOT_CLEAR),
        section("acted on", found(Concern.FAIRNESS), verdict=Verdict.NO),
    ]
    made = summary(sections, weights(policy.read()))
    assert [item.key for item in made.quiet] == ["clear"]
    assert [item.key for item in made.unclear] == ["withheld", "open"]


def test_a_section_that_another_speaks_for_is_not_said_to_need_nothing() -> None:
    flagged = Finding(
        concern=Concern.RATERS_FLAGGED, what="1.", how_sure="Sure.", action="Act.", speaks_for=("severity",)
    )
    made = summary([section("flags", flagged), section("severity"), section("drift")], weights(policy.read()))
    assert [item.key for item in made.quiet] == ["drift"]
