"""Section: whether raters, roles and criteria treat groups of candidates alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from mentorstats.calibration.groups.equivalence import DIFFERS, EQUIVALENT
from mentorstats.calibration.groups.fairness import CAUSES, NOT_IDENTIFIED, Fairness
from mentorstats.dictionary import table as described
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report import wording
from mentorstats.report.model import BOUNDS, STATUS, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.small_groups import blank

QUESTION = "Do raters, roles and criteria treat groups of candidates alike?"
NONE = (
    "The placements hold no group of candidates that is large enough, so nothing can be said. Fields such as "
    "entry route, first generation or gender in the table placements would fill this section."
)
UNSEEN = "A bias that all raters share cannot be seen in ratings, and would not be here."
SMALL = {EQUIVALENT: Verdict.YES, DIFFERS: Verdict.NO}
_ANSWERS = {"True": "yes", "False": "no"}


def section(found: Sequence[Fairness], policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.fairness`, one a field of groups.
    """
    told = [each for each in found if each.status == Status.OK]
    if not told:
        status = found[0].status if found else Status.NO_RECORDS
        return Section(key="fairness", question=QUESTION, answer=NONE, status=status, caution=_caution())
    tables = [_roles(told, policy), _between(told, policy)]
    for each in told:
        tables += [_criteria(each, policy), _raters(each, policy), _spreads(each, policy)]
    return Section(
        key="fairness",
        question=QUESTION,
        answer=" ".join([*(_answer(each, policy) for each in told), UNSEEN]),
        tables=tuple(made for made in tables if made is not None),
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
        caution=_caution(),
    )


def _caution() -> tuple[str, ...]:
    return (
        NOT_IDENTIFIED,
        CAUSES,
        "A difference is a reason to look and to talk: no ranking, and no sole basis for a decision about a "
        "person. Local rules on the use of these fields come first.",
    )


def _method(policy: Policy) -> tuple[str, ...]:
    few, each = policy.value("minimum_group_size"), policy.value("fairness_candidates")
    return (
        "Everything here is added to the one base fit by single steps, without fitting again. The difference "
        "between the groups that all raters see is free in each comparison and is no result: only "
        "differences from it are. Two roles are compared on the same candidates, each candidate's own "
        "level taken out. Sizes are changes of a middling candidate's expected level; intervals are the "
        "estimate and its error on the latent scale, carried over.",
        f"An effect is “too small to matter” where its whole interval lies within {_bound(policy)}; a "
        "test that finds nothing does not show that. Beside it stands how likely an interval of that width "
        "was to show it if there is no effect at all, and to leave out zero if the effect is just as large "
        f"as the bound. “Beyond chance” keeps the expected share of false ones in a table (of raters: in a "
        f"role) to {number(policy.value('fairness_q'), 'share')}\N{NO-BREAK SPACE}%.",
        f"Groups of fewer than {few:g} candidates enter on neither side. A rater is compared with at least "
        f"{each:g} candidates of each side whom others rated too, and listed with at least "
        f"{max(few, each):g}. Candidates' own strengths on single criteria would make criteria look "
        "unequal; errors are widened by what candidates' scores scatter beyond the fit.",
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


def judged(rows: pd.DataFrame, policy: Policy, *, adjusted: str = "p_adjusted") -> pd.DataFrame:
    """Size, verdicts and power of effects as columns of a table with their companions."""
    status = rows["status"].astype("str").to_numpy()
    data = {"size" + end: rows[f"contrast_level{end}"].to_numpy() for end in ("", *BOUNDS)}
    data["chance"] = _beyond(rows[adjusted], policy).to_numpy()
    small = [SMALL.get(str(word), Verdict.NOT_CLEAR).value if word else "" for word in rows["equivalence"]]
    data["small"] = np.array(small, dtype=object)
    data["power_equivalent"] = rows["power_equivalent"].to_numpy()
    data["power_see"] = rows["power_see"].to_numpy()
    for name in EFFECTS:
        data[name + STATUS] = status
    return pd.DataFrame(data)


EFFECTS = ("size", "chance", "small", "power_equivalent", "power_see")
LABELS = {
    "size": "Gets more (+) or less",
    "chance": "Beyond chance",
    "small": "Too small to matter",
    "power_equivalent": "Chance to show that it is too small, if it is zero",
    "power_see": "Chance to see one as large as the bound",
}
UNITS = {
    "size": "levels",
    "chance": "verdict",
    "small": "verdict",
    "power_equivalent": "share",
    "power_see": "share",
}
_PEOPLE = {"n_candidates_group": "Candidates of the group", "n_candidates_rest": "Candidates compared"}


def _table(
    key: str, title: str, data: pd.DataFrame, labels: Mapping[str, str], policy: Policy, note: str = ""
) -> Table:
    shown = {**labels, **_PEOPLE, **LABELS}
    made = Table(
        key=key,
        title=title,
        data=data,
        labels=shown,
        units={**dict.fromkeys(_PEOPLE, "people"), **UNITS},
        group_columns=tuple(labels),
        count_columns=tuple(_PEOPLE),
        statistic_columns=EFFECTS,
        note=f"Too small to matter: wholly within {_bound(policy)}. {note}".strip(),
    )
    return blank(made, policy.rule("minimum_group_size"))


def _named(rows: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Columns of names as words, and the counts."""
    named = pd.DataFrame({name: rows[name].map(_label).to_numpy() for name in names})
    return named.assign(**{name: rows[name].astype("Int64").to_numpy() for name in _PEOPLE})


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
    data["roles"] = data["rater_role"] + " beside " + data["other_role"]
    return _table(
        "fairness-roles",
        "How one role treats a group compared with another role, same candidates",
        data,
        {
            "field": "Field",
            "group": "Group",
            "against": "Compared with",
            "roles": "Roles",
        },
        policy,
        "Above zero: the first role gives the group more than the second does. Beyond chance: p of the "
        "single comparison.",
    )


def _between(found: Sequence[Fairness], policy: Policy) -> Table:
    """How much raters of a role differ in how they treat a group."""
    rows = pd.concat([each.between.assign(field=_title(each.field)) for each in found], ignore_index=True)
    data = rows[["field", "group", "against", "rater_role"]].map(_label)
    data["n_raters"] = rows["n_raters"].astype("Int64")
    for end in ("", *BOUNDS):
        data["sd" + end] = rows[f"sd_level{end}"]
    data["p"] = rows["p"]
    data["sd" + STATUS] = data["p" + STATUS] = rows["status"].astype("str")
    table = Table(
        key="fairness-raters-alike",
        title="How much raters of a role differ in how they treat a group",
        data=data,
        labels={
            "field": "Field",
            "group": "Group",
            "against": "Compared with",
            "rater_role": "Role",
            "n_raters": "Raters compared",
            "sd": "Standard deviation between raters",
            "p": "p, if they did not differ",
        },
        units={"n_raters": "raters", "sd": "distance", "p": "p_value"},
        group_columns=("field", "group", "against", "rater_role"),
        count_columns=("n_raters",),
        statistic_columns=("sd", "p"),
        references=("viechtbauer_2007",),
    )
    return blank(table, policy.rule("minimum_group_size"))


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
        f"Criteria beside the groups' common difference, {_title(each.field)}{title}",
        data,
        {**sides, "version": "Version", "criterion": "Criterion"},
        policy,
        f"Not listed: {left} of {count(len(each.criteria), 'shift')}, too small to matter and not beyond "
        "chance. Shifts of a version add up to zero: one criterion with less leaves others with more.",
    )


def _sides(rows: pd.DataFrame) -> tuple[dict[str, str], str]:
    """Columns that say which groups, or, where there is one comparison only, words for the title."""
    pairs = rows[["group", "against"]].drop_duplicates()
    if len(pairs) > 1:
        return {"group": "Group", "against": "Compared with"}, ""
    group, against = pairs.iloc[0].map(_label)
    return {}, f": “{group}” compared with “{against}”"


def _listed(rows: pd.DataFrame, policy: Policy) -> tuple[pd.DataFrame, str]:
    """Raters who saw enough candidates of both sides to be listed, and how many others there are."""
    enough = pd.Series(True, index=rows.index)
    for rule in ("minimum_group_size", "fairness_candidates"):
        for column in ("n_candidates_group", "n_candidates_rest"):
            enough &= rows[column].map(policy.rule(rule).met).astype(bool)
    return rows[enough].reset_index(drop=True), _others(int((~enough).sum()))


def _others(n: int) -> str:
    saw = "saw" if n != 1 else "has seen"
    return f"{count(n, 'other rater')} {saw} too few candidates of one side to be listed." if n else ""


def _raters(each: Fairness, policy: Policy) -> Table | None:
    rows, note = _listed(each.raters, policy)
    if rows.empty:
        return None
    sides, title = _sides(rows)
    data = pd.concat([_named(rows, ("group", "against", "rater_role")), judged(rows, policy)], axis=1)
    data["rater"] = rows["rater"].to_numpy()
    return _table(
        wording.key("fairness-raters", each.field),
        f"Raters beside the others of their role, in the order of their codes, {_title(each.field)}{title}",
        data,
        {**sides, "rater_role": "Role", "rater": "Rater"},
        policy,
        f"Unshrunken. {note}",
    )


def _spreads(each: Fairness, policy: Policy) -> Table | None:
    rows, note = _listed(each.spreads, policy)
    if rows.empty:
        return None
    sides, title = _sides(rows)
    labels = {**sides, "rater_role": "Role", "rater": "Rater"}
    data = _named(rows, ("group", "against", "rater_role")).assign(rater=rows["rater"].to_numpy())
    for end in ("", *BOUNDS):
        data["ratio" + end] = rows[f"ratio{end}"].to_numpy()
    data["chance"] = _beyond(rows["p_adjusted"], policy).to_numpy()
    small = [SMALL.get(str(word), Verdict.NOT_CLEAR).value if word else "" for word in rows["equivalence"]]
    data["small"] = np.array(small, dtype=object)
    for name in ("ratio", "chance", "small"):
        data[name + STATUS] = rows["status"].astype("str").to_numpy()
    bound = policy.value("fairness_spread_bound")
    table = Table(
        key=wording.key("fairness-spread", each.field),
        title=f"How much more a rater's judgements of the group scatter, {_title(each.field)}{title}",
        data=data,
        labels={
            **labels,
            **_PEOPLE,
            "ratio": "Times the scatter of the others",
            "chance": LABELS["chance"],
            "small": LABELS["small"],
        },
        units={
            **dict.fromkeys(_PEOPLE, "people"),
            "ratio": "times_more",
            "chance": "verdict",
            "small": "verdict",
        },
        group_columns=tuple(labels),
        count_columns=tuple(_PEOPLE),
        statistic_columns=("ratio", "chance", "small"),
        note=f"One is the same scatter; too small to matter: wholly within {1 / bound:.2f} to {bound:.2f}. "
        f"{note}",
    )
    return blank(table, policy.rule("minimum_group_size"))


def _answer(each: Fairness, policy: Policy) -> str:
    listed, _ = _listed(each.raters, policy)
    beyond = [_beyond_of(each.criteria, "on", "criterion", policy), _beyond_of(listed, "by", "rater", policy)]
    counted = " and ".join(part for part in beyond if part)
    said = "; ".join(
        part
        for part in (
            f"treated unlike elsewhere, beyond chance, {counted}" if counted else "",
            _of_roles(each.roles),
        )
        if part
    )
    return f"{_title(each.field)}: {said or 'too few candidates for any comparison'}."


def _of_roles(rows: pd.DataFrame) -> str:
    known = rows[rows["contrast"].notna()] if not rows.empty else rows
    if known.empty:
        return ""
    largest = known.iloc[int(known["contrast_level"].abs().argmax())]
    size = estimate(
        largest["contrast_level"], largest["contrast_level_low"], largest["contrast_level_high"], "levels"
    )
    small = {EQUIVALENT: ", too small to matter", DIFFERS: ", which matters"}.get(largest["equivalence"], "")
    return (
        f"{_label(largest['rater_role'])}s beside {_label(largest['other_role'])}s give "
        f"the group “{_label(largest['group'])}” {size} of a level{small}"
    )


def _beyond_of(rows: pd.DataFrame, where: str, one: str, policy: Policy) -> str:
    known = rows[rows["contrast"].notna()] if not rows.empty else rows
    if known.empty:
        return ""
    beyond = int(known["p_adjusted"].map(policy.rule("fairness_q").met).sum())
    if one == "rater" and not policy.rule("minimum_group_size").met(len(known)):
        return f"{where} {beyond or 'none'} of the raters listed"
    of = {"criterion": ("criterion", "criteria"), "rater": ("rater", "raters")}[one]
    return f"{where} {beyond or 'none'} of {count(len(known), *of)}"
