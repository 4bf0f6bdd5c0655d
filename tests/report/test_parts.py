"""A section that fails costs itself alone, and says what went wrong where a developer looks."""

from types import SimpleNamespace

import pytest

from mentorstats.report import parts
from mentorstats.report.model import Section


def module(answer="Fine."):
    def about(**more):
        return Section(key=answer[:4], name="n", question="Q?", **more)

    return SimpleNamespace(ABOUT=about, section=lambda n: about(answer=f"{answer}{1 / n:g}"), __name__="m")


def test_a_failing_section_says_so_and_the_others_stand() -> None:
    fine, broken = module("Fine."), module("Brok.")
    made = parts.made({"One": {hashable(broken): lambda: (0,), hashable(fine): lambda: (2,)}})
    assert [section.answer for section in made] == [parts.FAILED, "Fine.0.5"]
    assert made[0].defect.startswith("ZeroDivisionError")
    assert made[0].status == "not_assessed"
    assert {section.part for section in made} == {"One"}


def test_what_a_section_is_given_may_fail_too() -> None:
    def fails():
        raise ValueError("no values")

    (section,) = parts.made({"One": {hashable(module()): fails}})
    assert "no values" in section.defect


def test_an_interrupt_is_no_defect() -> None:
    def interrupted():
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        parts.made({"One": {hashable(module()): interrupted}})


class hashable:  # noqa: N801 - stands in for a module, which is a key
    def __init__(self, of):
        self.__dict__.update(vars(of))
