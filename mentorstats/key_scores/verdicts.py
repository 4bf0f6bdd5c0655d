"""Does a rater meet the rules of certification? By intervals, so that "undecided" is an answer."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy as np

from mentorstats import policy
from mentorstats.agreement.coefficients.members import Asked
from mentorstats.entry import entry
from mentorstats.errors import ArgumentError, MentorstatsWarning
from mentorstats.estimate import Estimate
from mentorstats.key_scores import accuracy
from mentorstats.key_scores.accuracy import Scored
from mentorstats.policy import Policy, Rule

Rules: TypeAlias = Policy | Sequence[Rule] | None

PREFIX = "certification_"
USUAL = ("recordings", "exact")
WORDS = {
    "recordings": "recordings scored",
    "exact": "exact agreement with the expert score",
    "adjacent": "agreement within one level of the expert score",
    "largest_discrepancy": "largest difference from the expert score",
    "criterion_floor": "exact agreement on every criterion",
    "kappa": "weighted kappa with the expert score",
}

_AT_LEAST = (">=", ">")


class Verdict(StrEnum):
    """What certification can say of a rater; data_dictionary/vocabulary/verdicts.toml has the words."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    TOO_FEW = "too_few"
    NO_RULES = "no_rules"


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict and why."""

    verdict: Verdict
    reason: str


@entry()
def certification_rules(rules: Policy | None = None, names: Sequence[str] = USUAL) -> tuple[Rule, ...]:
    """Choose the rows by which raters are certified: those that the programme has given a value.

    The shipped rows have none: how accurate a rater must be is the programme's own decision.

    Parameters
    ----------
    rules
        The policy; the shipped one unless given.
    names
        Which rows, without ``certification_``: recordings, exact, adjacent, largest_discrepancy,
        criterion_floor, kappa. Such rules are rarely justified [white_2018].

    Raises
    ------
    PolicyError
        A policy has no such row in force.
    """
    chosen = rules if rules is not None else policy.read()
    rows = (chosen.rule(PREFIX + name) for name in names)
    return tuple(rule for rule in rows if not math.isnan(rule.value))


def resolved(rules: Rules) -> dict[str, Rule]:
    """Rules by short name, checked: known, each once, and of the direction that makes sense."""
    rows = certification_rules(rules) if rules is None or isinstance(rules, Policy) else tuple(rules)
    found: dict[str, Rule] = {}
    for rule in rows:
        name = rule.id.removeprefix(PREFIX)
        if name not in WORDS or name in found:
            raise ArgumentError(
                f"rule {rule.id!r} is no rule of certification, or comes twice",
                allowed=[PREFIX + known for known in WORDS],
            )
        if (rule.inequality in _AT_LEAST) == (name == "largest_discrepancy"):
            raise ArgumentError(
                f"rule {rule.id!r} asks for {rule.inequality} {rule.value:g}",
                allowed="<= or < for the largest discrepancy, >= or > for the others",
            )
        found[name] = rule
    own = not (rules is None or isinstance(rules, Policy))
    if own and not set(found) - {"recordings"}:
        raise ArgumentError("no rule asks for anything but recordings", allowed=[PREFIX + n for n in WORDS])
    if "adjacent" in found and not {"exact", "kappa"} & set(found):
        warnings.warn(
            "The rules ask for adjacent agreement and for nothing beyond it, which blind raters reach too.",
            MentorstatsWarning,
            stacklevel=3,
        )
    return found


def judge(scored: Scored, rules: Mapping[str, Rule], asked: Asked) -> Judged:
    """Hold one rater to the rules, computing no more than they ask for.

    Fewer recordings than asked for is ``too_few`` whatever else was seen. Otherwise a rule with an
    interval is met where the whole interval meets it, missed where none of it does, and undecided between;
    the verdict is ``fail`` where a rule is missed, else ``undecided`` or ``too_few`` where one is open.
    Without a rule on accuracy nobody is judged.
    """
    if not set(rules) - {"recordings"}:
        return Judged(Verdict.NO_RULES, "The programme has set no rule.")
    enough = rules.get("recordings")
    if enough is not None and not enough.met(scored.n_recordings):
        asked_for = f"the rules ask for {enough.inequality} {enough.value:g}"
        return Judged(Verdict.TOO_FEW, f"{scored.n_recordings} recordings scored; {asked_for}.")
    if not scored.n_recordings:
        return Judged(Verdict.TOO_FEW, "No recording scored.")
    found = {name: _held(name, rule, scored, asked) for name, rule in rules.items() if name != "recordings"}
    for verdict in (Verdict.FAIL, Verdict.TOO_FEW, Verdict.UNDECIDED):
        reasons = [judged.reason for judged in found.values() if judged.verdict is verdict]
        if reasons:
            return Judged(verdict, " ".join(reasons))
    return Judged(Verdict.PASS, " ".join(judged.reason for judged in found.values()))


def _held(name: str, rule: Rule, scored: Scored, asked: Asked) -> Judged:
    asks = f"{WORDS[name]} {rule.inequality} {rule.value:g}"
    if name == "largest_discrepancy":
        if rule.met(float(np.abs(scored.distance).max())):
            return Judged(Verdict.PASS, f"Met: {asks}.")
        return Judged(Verdict.FAIL, f"Missed: {asks}.")
    estimates = _MEASURED[name](scored, asked)
    if any(not math.isnan(one.high) and not rule.met(one.high) for one in estimates):
        return Judged(Verdict.FAIL, f"Missed by the whole interval: {asks}.")
    if all(rule.met(one.low) for one in estimates):
        return Judged(Verdict.PASS, f"Met by the whole interval: {asks}.")
    if any(math.isnan(one.low) for one in estimates):
        why = next(one.status_note or "There is no value." for one in estimates if math.isnan(one.low))
        return Judged(Verdict.TOO_FEW, f"Too few: {asks}. {why}")
    return Judged(Verdict.UNDECIDED, f"Undecided: {asks}; the interval includes the threshold.")


def _one(name: str) -> Callable[[Scored, Asked], list[Estimate]]:
    def measured(scored: Scored, asked: Asked) -> list[Estimate]:
        return list(accuracy.of_family(scored, asked, (name,)).values())

    return measured


_MEASURED: dict[str, Callable[[Scored, Asked], list[Estimate]]] = {
    "exact": _one("exact"),
    "adjacent": _one("adjacent"),
    "kappa": _one("weighted_kappa"),
    "criterion_floor": accuracy.by_criterion,
}
