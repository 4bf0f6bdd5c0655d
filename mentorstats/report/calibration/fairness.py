"""Section: whether raters, roles and criteria treat groups of candidates equally."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats.calibration.groups.equivalence import DIFFERS, EQUIVALENT
from mentorstats.calibration.groups.fairness import CAUSES, NOT_IDENTIFIED, Fairness
from mentorstats.dictionary import table as described
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, Column, carried, counted, group, statistic, verdict
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number

SMALL = {EQUIVALENT: Verdict.YES, DIFFERS: Verdict.NO}
_ANSWERS = {"True": "yes", "False": "no"}
ABOUT = partial(
    Section,
    key="fairness",
    name="fairness to groups of candidates",
    question="Do raters, roles and criteria treat groups of candidates equally?",
)
NEEDS = "fields such as entry route, first generation or gender in the table placements"


def section(found: Sequence[Fairness], policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.fairness`, one a field of groups.
    """
    told = [each for each in found if each.status == Status.OK]
    if not told:
        nothing = "The placements record no group of candidates that is large enough."
        status = found[0].status if found else Status.NO_RECORDS
        return ABOUT(answer=nothing, status=status, needs=NEEDS)
    tables = [_roles(told, policy), _between(told)]
    for each in told:
        tables += [_criteria(each, policy), _raters(each, policy), _spreads(each, policy)]
    return ABOUT(
        answer=_answer(told, policy),
        detail=tuple(_detail(each, policy) for each in told),
        tables=tuple(made for made in tables if made is not None),
        findings=_findings(told, policy),
        method=_method(policy),
        references=(
            "rao_1948",
            "schuirmann_1987",
            "lakens_2017",
            "mundlak_1978",
            "viechtbauer_2007",
            "paule_mandel_1982",
            "rao_scott_1984",
            "benjamini_hochberg_1995",
        ),
        caution=(NOT_IDENTIFIED, CAUSES, "Local rules on the use of these fields come first."),
    )


def _method(policy: Policy) -> tuple[str, ...]:
    few, each = policy.value("minimum_group_size"), policy.value("fairness_candidates")
    return (
        "Each comparison is a single step from the one base model; the model is not fitted again. The "
        "difference between the groups that all raters see is free in each comparison and is not a result: "
        "only differences from it are. Two roles are compared on the same candidates, with each candidate's "
        "own level removed. Sizes are changes of an average candidate's expected level; intervals are those "
        "of the estimate on the latent scale, carried over.",
        f"An effect is “too small to matter” where its whole interval is within {_bound(policy)}; a test "
        "that finds nothing does not show this. The tables also give the probability that an interval of "
        "that width would show it if there were no effect at all, and that it would exclude zero if the "
        "effect were as large as the bound. “Beyond chance” keeps the expected share of false results in a "
        "table (for raters: in a role) at or below "
        f"{number(policy.value('fairness_q'), 'share')}\N{NO-BREAK SPACE}%.",
        f"Groups of fewer than {few:g} candidates are not compared. A rater is compared with at least "
        f"{each:g} candidates of each side whom others rated too, and listed with at least {few:g}. "
        "Candidates' own strengths on single criteria would make criteria look unequal; standard errors are "
        "widened by how much candidates' scores scatter beyond the model.",
    )


def _bound(policy: Policy) -> str:
    return f"±{policy.value('fairness_bound'):g} of a level"


def _title(field: str) -> str:
    for item in described("placements").fields:
        if item.name == field:
            return item.title or field
    return field


def _label(name: object) -> str:
    return _ANSWERS.get(str(name), str(name).replace("_", " "))


def _beyond(p: pd.Series, policy: Policy) -> pd.Series:
    """“yes” where beyond chance, “not clear” where not, nothing where unknown."""
    met = p.map(policy.rule("fairness_q").met)
    words = np.where(met, Verdict.YES.value, Verdict.NOT_CLEAR.value)
    return pd.Series(np.where(p.notna(), words, ""), index=p.index)


def _too_small(equivalence: pd.Series) -> NDArray[np.object_]:
    """Verdict on each effect: is it too small to matter?"""
    words = [SMALL.get(str(word), Verdict.NOT_CLEAR).value if word else "" for word in equivalence]
    return np.array(words, dtype=object)


_SIDES = (group("group", "Group"), group("against", "Compared with"))


def judged(rows: pd.DataFrame, policy: Policy, *, adjusted: str = "p_adjusted") -> pd.DataFrame:
    """Size, verdicts and power of effects as columns of a table with their companions."""
    status = rows["status"].astype("str").to_numpy()
    data = {"size" + end: rows[f"contrast_level{end}"].to_numpy() for end in ("", *BOUNDS)}
    data["chance"] = _beyond(rows[adjusted], policy).to_numpy()
    data["small"] = _too_small(rows["equivalence"])
    data["power_equivalent"] = rows["power_equivalent"].to_numpy()
    data["power_see"] = rows["power_see"].to_numpy()
    for column in EFFECTS:
        data[column.name + STATUS] = status
    return pd.DataFrame(data)


EFFECTS = (
    statistic("size", "Difference (levels)", "levels"),
    verdict("chance", "Beyond chance"),
    verdict("small", "Too small to matter"),
    statistic("power_equivalent", "Probability of showing that it is too small, if it is zero", "share"),
    statistic("power_see", "Probability of detecting one as large as the bound", "share"),
)
PEOPLE = (
    counted("n_candidates_group", "Candidates of the group", "people"),
    counted("n_candidates_rest", "Candidates compared", "people"),
)


def _table(
    key: str,
    title: str,
    data: pd.DataFrame,
    groups: Sequence[Column],
    policy: Policy,
    note: str = "",
    *,
    people: bool = False,
) -> Table:
    return Table(
        key=key,
        title=title,
        data=data,
        columns=(*groups, *PEOPLE, *EFFECTS),
        note=f"Too small to matter: wholly within {_bound(policy)}. {note}".strip(),
        people=people,
    )


_COUNTS = tuple(column.name for column in PEOPLE)


def _named(rows: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Columns of names as words, and the counts."""
    named = pd.DataFrame({name: rows[name].map(_label).to_numpy() for name in names})
    return named.assign(**{name: rows[name].astype("Int64").to_numpy() for name in _COUNTS})


def _roles(found: Sequence[Fairness], policy: Policy) -> Table | None:
    parts = [
        pd.concat(
            [
                _named(each.roles, ("group", "against", "rater_role", "other_role")),
                judged(each.roles, policy, adjusted="p"),
            ],
            axis=1,
        ).assign(field=_title(each.field))
        for each in found
        if not each.roles.empty
    ]
    if not parts:
        return None
    data = pd.concat(parts, ignore_index=True)
    data["roles"] = data["rater_role"] + " compared with " + data["other_role"]
    return _table(
        "fairness-roles",
        "How one role treats a group compared with another role, same candidates",
        data,
        (group("field", "Field"), *_SIDES, group("roles", "Roles")),
        policy,
        "Above zero: the first role gives the group more than the second does. Beyond chance: p of the "
        "single comparison.",
    )


def _between(found: Sequence[Fairness]) -> Table:
    """How much raters of a role differ in how they treat a group."""
    rows = pd.concat([each.between.assign(field=_title(each.field)) for each in found], ignore_index=True)
    data = rows[["field", "group", "against", "rater_role"]].map(_label)
    data["n_raters"] = rows["n_raters"].astype("Int64")
    data = data.join(carried(rows, {"sd_level": "sd", "p": "p"}))
    return Table(
        key="fairness-raters-differ",
        title="How much raters of a role differ in how they treat a group",
        data=data,
        columns=(
            group("field", "Field"),
            *_SIDES,
            group("rater_role", "Role"),
            counted("n_raters", "Raters compared", "raters"),
            statistic("sd", "Standard deviation between raters", "distance"),
            statistic("p", "p, if they did not differ", "p_value"),
        ),
        references=("viechtbauer_2007",),
    )


def striking(rows: pd.DataFrame, policy: Policy) -> tuple[pd.DataFrame, int]:
    """Rows beyond chance or not shown to be too small to matter, and how many others there are."""
    beyond = rows["p_adjusted"].map(policy.rule("fairness_q").met)
    kept = rows[(rows["equivalence"] != EQUIVALENT) | beyond].reset_index(drop=True)
    return kept, len(rows) - len(kept)


def _criteria(each: Fairness, policy: Policy) -> Table | None:
    if each.criteria.empty:
        return None
    rows, left = striking(each.criteria, policy)
    if rows.empty:
        return None
    sides, title = _sides(each.criteria)
    data = pd.concat([_named(rows, ("group", "against")), judged(rows, policy)], axis=1)
    data["criterion"] = rows["criterion"].to_numpy()
    data["version"] = rows["rubric_version"].to_numpy()
    return _table(
        wording.key("fairness-criteria", each.field),
        f"Criteria compared with the groups' common difference, {_title(each.field)}{title}",
        data,
        (*sides, group("version", "Version"), group("criterion", "Criterion")),
        policy,
        f"Not listed: {left} of {count(len(each.criteria), 'difference')}, too small to matter and not "
        "beyond chance. Differences of a version add up to zero: one criterion with less leaves others with "
        "more.",
    )


def _sides(rows: pd.DataFrame) -> tuple[tuple[Column, ...], str]:
    """Columns that say which groups, or, where there is one comparison only, words for the title."""
    pairs = rows[["group", "against"]].drop_duplicates()
    if len(pairs) > 1:
        return _SIDES, ""
    group_, against = pairs.iloc[0].map(_label)
    return (), f": “{group_}” compared with “{against}”"


def _listed(rows: pd.DataFrame, policy: Policy) -> tuple[pd.DataFrame, str]:
    """Raters who saw enough candidates of both sides to be listed, and how many others there are."""
    met = policy.rule("minimum_group_size").met
    enough = rows["n_candidates_group"].map(met) & rows["n_candidates_rest"].map(met)
    n = int((~enough).sum())
    note = f"{count(n, 'other rater')} rated too few candidates of one side to be listed." if n else ""
    return rows[enough].reset_index(drop=True), note


def _raters(each: Fairness, policy: Policy) -> Table | None:
    rows, note = _listed(each.raters, policy)
    if rows.empty:
        return None
    sides, title = _sides(rows)
    data = pd.concat([_named(rows, ("group", "against", "rater_role")), judged(rows, policy)], axis=1)
    data["rater"] = rows["rater"].to_numpy()
    return _table(
        wording.key("fairness-raters", each.field),
        "Raters compared with others of their role, in the order of their codes, "
        f"{_title(each.field)}{title}",
        data,
        (*sides, group("rater_role", "Role"), group("rater", "Rater")),
        policy,
        f"Unshrunken. {note}",
        people=True,
    )


def _spreads(each: Fairness, policy: Policy) -> Table | None:
    rows, note = _listed(each.spreads, policy)
    if rows.empty:
        return None
    sides, title = _sides(rows)
    data = _named(rows, ("group", "against", "rater_role")).assign(rater=rows["rater"].to_numpy())
    data = data.join(carried(rows, {"ratio": "ratio"}))
    data["chance"] = _beyond(rows["p_adjusted"], policy).to_numpy()
    data["small"] = _too_small(rows["equivalence"])
    for name in ("chance", "small"):
        data[name + STATUS] = rows["status"].astype("str").to_numpy()
    bound = policy.value("fairness_spread_bound")
    return Table(
        key=wording.key("fairness-spread", each.field),
        title=f"How much more erratic a rater's judgements of the group are, {_title(each.field)}{title}",
        data=data,
        columns=(
            *sides,
            group("rater_role", "Role"),
            group("rater", "Rater"),
            *PEOPLE,
            statistic("ratio", "Ratio of standard deviations", "times_more"),
            verdict("chance", "Beyond chance"),
            verdict("small", "Too small to matter"),
        ),
        note=f"One is the same spread; too small to matter: wholly within {1 / bound:.2f} to "
        f"{bound:.2f}. {note}",
        people=True,
    )


def _beyond_chance(rows: pd.DataFrame, policy: Policy) -> tuple[int, int]:
    """How many rows with an estimate are beyond chance, and of how many."""
    known = rows[rows["contrast"].notna()] if not rows.empty else rows
    if known.empty:
        return 0, 0
    return int(known["p_adjusted"].map(policy.rule("fairness_q").met).sum()), len(known)


def _answer(found: Sequence[Fairness], policy: Policy) -> str:
    """Which fields show a difference, in a sentence, and what cannot be seen."""
    shown: list[str] = []
    clear: list[str] = []
    for each in found:
        n = (
            _beyond_chance(each.criteria, policy)[0]
            + _beyond_chance(_listed(each.raters, policy)[0], policy)[0]
        )
        (shown if n else clear).append(_title(each.field).lower())
    told = [f"Differences beyond chance were found by {wording.listed(shown)}."] if shown else []
    if clear:
        told.append(f"No clear difference was found by {wording.listed(clear)}.")
    return " ".join([*told, "A bias that all raters share cannot be seen in ratings."])


def _detail(each: Fairness, policy: Policy) -> str:
    listed, _ = _listed(each.raters, policy)
    told = []
    for rows, one, many, where in (
        (each.criteria, "criterion", "criteria", "on"),
        (listed, "rater", "raters", "for"),
    ):
        n, of = _beyond_chance(rows, policy)
        if of:
            told.append(
                f"a difference beyond chance {where} {n} of {count(of, one, many)}"
                if n
                else f"no clear difference {where} any {one}"
            )
    roles = _of_roles(each.roles)
    said = wording.listed(told) or "too few candidates for any comparison"
    return f"{_title(each.field)}: {said}. {roles}".strip()


def _findings(found: Sequence[Fairness], policy: Policy) -> tuple[Finding, ...]:
    """Fields with a difference beyond chance on some criterion or for some rater."""
    findings = []
    for each in found:
        (criteria, _), (raters, of) = (
            _beyond_chance(each.criteria, policy),
            _beyond_chance(_listed(each.raters, policy)[0], policy),
        )
        if not criteria and not raters:
            continue
        told = [f"on {count(criteria, 'criterion', 'criteria')}"] if criteria else []
        told += [f"by {raters} of {count(of, 'rater')} with enough candidates"] if raters else []
        q = number(policy.value("fairness_q"), "share")
        findings.append(
            Finding(
                concern=Concern.FAIRNESS,
                what=f"Groups by {_title(each.field).lower()} are rated differently {wording.listed(told)}.",
                how_sure=f"Of such results, at most about {q}\N{NO-BREAK SPACE}% are expected to be false.",
                action="Read the wording of these criteria together with the raters, with examples "
                "from both groups.",
                concerns=f"candidates by {_title(each.field).lower()}",
            )
        )
    return tuple(findings)


def _of_roles(rows: pd.DataFrame) -> str:
    """The largest difference between roles in how they treat a group, in a sentence."""
    known = rows[rows["contrast"].notna()] if not rows.empty else rows
    if known.empty:
        return ""
    largest = known.iloc[int(known["contrast_level"].abs().argmax())]
    size = estimate(
        largest["contrast_level"], largest["contrast_level_low"], largest["contrast_level_high"], "levels"
    )
    small = {EQUIVALENT: ", too small to matter", DIFFERS: ", large enough to matter"}
    return (
        f"Compared with {_label(largest['other_role'])}s, {_label(largest['rater_role'])}s give the group "
        f"“{_label(largest['group'])}” {size} levels{small.get(largest['equivalence'], '')}."
    )
