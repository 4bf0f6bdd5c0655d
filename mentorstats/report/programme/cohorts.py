"""Section: whether cohorts, sites and licensure areas differ, severity and case mix allowed for."""

from __future__ import annotations

from functools import partial
from typing import Any

import pandas as pd

from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.programme.cohorts import REST, Comparison
from mentorstats.programme.rating_model import NOT_RECORDED
from mentorstats.report import wording
from mentorstats.report.columns import STATUS, counted, group, statistic, text
from mentorstats.report.model import Concern, Finding, Section, Table
from mentorstats.report.numbers import count, estimate, number

NAMES = {
    "cohort": ("cycle", "cycles"),
    "site": ("site", "sites"),
    "licensure_area": ("licensure area", "licensure areas"),
}
EQUIVALENCE = {"equivalent": "no larger", "differs": "larger", "undecided": "undecided", "": ""}
ABOUT = partial(
    Section,
    key="cohorts",
    name="cycles, sites and areas",
    question="Do cycles, sites and licensure areas differ, whoever rated?",
)


def section(found: dict[str, Comparison], policy: Policy, breaks: pd.DataFrame | None = None) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.programme.compare_groups`, by what was compared.
    breaks
        From `mentorstats.records.crosswalk.breaks`.
    """
    if all(one.means.empty for one in found.values()):
        return ABOUT(
            answer="No rating can be used.", status=Status.NO_RECORDS, needs="ratings of placed candidates"
        )
    bound, alpha = policy.rule("cohort_bound"), 1 - policy.value("confidence")
    several = [one for one in found.values() if len(one.means) > 1]
    tables = [table for one in several for table in (_contrasts(one, bound.value), _means(one))]
    apart = [finding for one in found.values() for finding in _apart(one)]
    differ = [finding for one in found.values() for finding in _differ(one, alpha)]
    some = any(has_value(Status(s)) for one in found.values() for s in one.contrasts["status"])
    return ABOUT(
        answer=" ".join(_answer(one, alpha) for one in found.values()),
        detail=tuple(said for one in found.values() for said in _detail(one, bound.value)),
        main=(tables[0].key,) if tables else (),
        tables=tuple(tables),
        findings=(*apart, *differ),
        method=_method(policy),
        references=(
            "tierney_kadane_1986",
            "holm_1979",
            "schuirmann_1987",
            "lakens_2017",
            "paule_mandel_1982",
        ),
        caution=(
            "Groups differ in more than the records have, so a difference is no effect of a cycle, a site or "
            "an area. Groups stand in the order of their codes.",
            *linked_versions(breaks),
        ),
        status=Status.OK if some else next(Status(s) for o in found.values() for s in o.means["status"]),
    )


def _answer(one: Comparison, alpha: float) -> str:
    single, several = NAMES[one.by]
    told = one.contrasts[one.contrasts["value"].notna()]
    if list(one.means.index) == [NOT_RECORDED]:
        return f"No {single} is recorded."
    if len(one.means) < 2:
        return f"The records have one {single}, so there is none to compare it with."
    if told.empty:
        why = one.contrasts["status"].iloc[0]
        if why in (Status.UNLINKED, Status.COHORT_IS_RATER):
            return f"{wording.sentence(several)} cannot be compared, because no two of them share raters."
        note = one.contrasts["status_note"].iloc[0].strip()
        return f"{wording.sentence(several)} cannot be compared. {note}".strip()
    clear = told[told["p_adjusted"] < alpha]
    if clear.empty:
        return f"{wording.sentence(several)} show no clear difference."
    if (clear.index.get_level_values("against") != REST).all():
        return " ".join(_pair(row, single) for row in clear.reset_index().to_dict("records"))
    row = one.spread.iloc[0]
    size = estimate(row["sd"], row["sd_low"], row["sd_high"], "distance")
    return f"{wording.sentence(several)} differ by a standard deviation of {size} levels."


def _pair(row: dict[Any, Any], single: str) -> str:
    value, low, high = (float(row[name]) for name in ("value", "low", "high"))
    where = "above" if value > 0 else "below"
    ends = (low, high) if value > 0 else (-high, -low)
    size = estimate(abs(value), *ends, "distance")
    first, second = f"{wording.sentence(single)} {row['group']}", f"{single} {row['against']}"
    return f"{first} was rated {size} levels {where} {second}."


def _detail(one: Comparison, bound: float) -> list[str]:
    several = NAMES[one.by][1]
    told = one.contrasts[one.contrasts["value"].notna()]
    said = []
    if len(told):
        within = int((told["equivalence"] == "equivalent").sum())
        if within:
            most_of = f"{within} of {count(len(told), 'contrast')} {'is' if within == 1 else 'are'}"
            limit = number(bound, "distance")
            said.append(f"{wording.sentence(several)}: {most_of} shown to be no larger than {limit} levels.")
        most = told["moved"].abs().max()
        said.append(
            f"Allowing for severity and case mix moved the differences between {several} by up to "
            f"{number(float(most), 'distance')} levels."
        )
    return said


def _apart(one: Comparison) -> list[Finding]:
    """Groups that nothing joins with the others."""
    single, several = NAMES[one.by]
    lost = one.means["status"].isin([Status.UNLINKED, Status.COHORT_IS_RATER])
    if not lost.any():
        return []
    verb = "cannot" if lost.sum() < len(lost) else "can"
    total = f"{int(lost.sum())} of {count(len(lost), single, several)}"
    what = (
        f"{total} cannot be compared with the others."
        if verb == "cannot"
        else (f"{wording.sentence(several)} cannot be compared with each other.")
    )
    return [
        Finding(
            concern=Concern.NOT_COMPARABLE,
            what=what,
            how_sure="No rater served there and elsewhere, nor does a chain of candidates join their raters.",
            action=f"Let a rater of one {single} also rate a few lessons of another.",
            concerns=several,
        )
    ]


def _differ(one: Comparison, alpha: float) -> list[Finding]:
    several = NAMES[one.by][1]
    told = one.contrasts[one.contrasts["p_adjusted"] < alpha]
    if told.empty:
        return []
    n, family = len(told), int(one.contrasts["p"].notna().sum())
    return [
        Finding(
            concern=Concern.GROUPS_DIFFER,
            what=_answer(one, alpha).split(". ")[0].rstrip(".") + ".",
            how_sure=f"{n} of {count(family, 'contrast')} between {several} {'is' if n == 1 else 'are'} "
            "beyond chance, with all of them allowed for.",
            action=f"Look at what else differed between these {several} before reading it as an effect.",
            concerns=several,
        )
    ]


def linked_versions(breaks: pd.DataFrame | None) -> list[str]:
    """A sentence for each change of the rubric's version, on what links the two."""
    if breaks is None or breaks.empty:
        return []
    return [_version(row) for row in breaks.to_dict("records")]


def _version(row: dict[Any, Any]) -> str:
    change = f"{row['rubric']} changed from version {row['version_from']} to {row['version_to']}"
    if not row["author"]:
        return f"{change}. Without a crosswalk nothing links the versions."
    same = f"{row['n_one_to_one']} of {row['n_criteria']} criteria"
    return f"{change}. The crosswalk calls {same} the same, and these link the versions."


def _contrasts(one: Comparison, bound: float) -> Table:
    single, several = NAMES[one.by]
    data = one.contrasts.reset_index().rename(columns={"low": "value_low", "high": "value_high"})
    people = one.means["n_candidates"]
    sizes = [data[name].map(people) for name in ("group", "against")]
    data["n_candidates"] = pd.concat(sizes, axis=1).min(axis=1).astype("Int64")
    for name in ("value", "points", "p_adjusted", "moved", "largest"):
        data[name + STATUS] = data["status"]
    data["judged"] = data["equivalence"].map(EQUIVALENCE)
    return Table(
        key=f"contrasts-{one.by.replace('_', '-')}",
        title=f"Differences between {several}, severity and case mix allowed for",
        data=data,
        columns=(
            group("group", wording.sentence(single)),
            group("against", "Compared with"),
            counted("n_candidates", "Candidates of the smaller group", "people"),
            counted("n_raters_both", "Raters in common", "raters_met"),
            text("versions", "Rubric versions"),
            statistic("value", "Difference", "levels"),
            statistic("raw", "Unadjusted", "levels"),
            statistic("points", "Difference in the share at target", "points"),
            statistic("p_adjusted", "p, adjusted for all", "p_value"),
            statistic("largest", "Largest difference not excluded", "distance"),
            text("judged", f"Larger than {number(bound, 'distance')} levels?"),
        ),
        note="In the order of the codes. “Mean of all” is that of the groups that share raters.",
        references=("holm_1979", "schuirmann_1987"),
        lines=((),) if (data["against"] == REST).any() else (),
    )


def _means(one: Comparison) -> Table:
    single = NAMES[one.by][0]
    data = one.means.reset_index().rename(columns={"low": "value_low", "high": "value_high"})
    for name in ("value", "share", "shrunken"):
        data[name + STATUS] = data["status"]
    shrunken = (statistic("shrunken", "Difference from the mean, shrunken", "levels"),)
    return Table(
        key=f"means-{one.by.replace('_', '-')}",
        title=f"Mean level by {single}, as rated and with severity and case mix allowed for",
        data=data,
        columns=(
            group("group", wording.sentence(single)),
            counted("n_candidates", "Candidates", "people"),
            counted("n_raters", "Raters", "raters"),
            counted("n_lessons", "Lessons", "lessons"),
            statistic("raw", "As rated", "distance"),
            statistic("value", "Adjusted", "distance"),
            statistic("share", "Share at target, adjusted", "share"),
            *(shrunken if data["shrunken"].notna().any() else ()),
        ),
    )


def _method(policy: Policy) -> tuple[str, ...]:
    target, percent = policy.value("target_rank"), number(policy.value("confidence"), "share")
    return (
        "One ordinal model of all independent ratings: candidates with a change of their own over weeks, "
        "raters, lessons, forms and raters' criteria as crossed effects; role, cycle, site, licensure area, "
        "grade band and week as fixed terms; cut-points of each criterion, and its own change over weeks. "
        "Adjusted means are for a rater of average severity, a lesson in the mean week, and an equal mix of "
        "all other groups. They are averaged over candidates, lessons and criteria.",
        f"Intervals cover {percent}\N{NO-BREAK SPACE}%, by Student's t with the variances of the model held. "
        "As rated: the mean of the candidates' own means. P-values are adjusted by Holm's method for all "
        f"contrasts of a table. The share at target is of ratings at level {target:g} or above.",
        "Equivalence is judged by two one-sided tests. “No larger” means that both exclude the bound; "
        "“undecided” that the records allow either. Up to three groups are compared in pairs, more of them "
        "with the mean of all. Shrunken differences are closer to that mean, the more so the less is known.",
    )
