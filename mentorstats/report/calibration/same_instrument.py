"""Section: whether criteria and cut-points are the same for all roles, cohorts, modes and versions."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from mentorstats.calibration.groups.equivalence import EQUIVALENT
from mentorstats.calibration.groups.same_instrument import VERSION, SameInstrument
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report.calibration.fairness import EFFECTS, LABELS, UNITS, judged, striking
from mentorstats.report.columns import STATUS, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate, probability
from mentorstats.report.small_groups import blank
from mentorstats.report.wording import listed

QUESTION = "Does the instrument measure the same thing?"
BY = {
    "rater_role": "Role",
    "cohort": "Cycle",
    "visit_mode": "Mode of the visit",
    "rubric_version": "Version of the rubric",
}
_HOW = {"one_step": "score test", "refit": "fitted again", "wald": "from the fit", "none": ""}
_PEOPLE = {"n_candidates_group": "Candidates", "n_candidates_rest": "Candidates compared"}


def section(found: Sequence[SameInstrument], policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.same_instrument`, one a column.
    """
    told = [each for each in found if each.status == Status.OK]
    if not told:
        return Section(
            key="same-instrument",
            question=QUESTION,
            answer="The records hold one role, cycle, mode and version only, or too few people of each, so "
            "this cannot be told.",
            status=found[0].status if found else Status.NO_RECORDS,
        )
    tables = [_tests(told, policy), _criteria(told, policy)]
    return Section(
        key="same-instrument",
        question=QUESTION,
        answer=_answer(told, policy),
        tables=tuple(table for table in tables if table is not None),
        method=(
            "Where the instrument is the same, criteria keep their order of difficulty and cut-points their "
            "distances; that one role is more lenient, or one cycle better, is left free and is tested "
            "elsewhere. Each comparison is a score test from the base fit. Where its p lies under "
            f"{policy.value('instrument_screen'):g} the model is fitted again with all cut-points of both "
            "sides free, and the numbers are those of that fit. Errors are widened by what the scores of "
            "candidates scatter beyond the fit.",
            "Versions of a rubric have cut-points of their own throughout and are never pooled. They are "
            "compared on the criteria with the same code in both; a criterion that was reworded shows up "
            "as one that became harder or easier beside the others. That all of them became so cannot be "
            "told from better or weaker cycles.",
        ),
        references=("rao_1948", "rao_scott_1984", "schuirmann_1987", "benjamini_hochberg_1995"),
        caution=(
            "A criterion that is harder for one side may be worded differently, understood differently, or "
            "really be done less well there, beside everything else; the numbers do not say which.",
        ),
    )


def _words(by: str) -> str:
    return BY.get(by, by.replace("_", " ").capitalize())


def _named(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    names = {name: rows[name].astype("str").str.replace("_", " ").to_numpy() for name in ("group", "against")}
    return pd.DataFrame({"by": _words(by), **names}, index=range(len(rows)))


def _tests(found: Sequence[SameInstrument], policy: Policy) -> Table:
    data = pd.concat([_tested(each) for each in found], ignore_index=True)
    table = Table(
        key="same-instrument-tests",
        title="Are criteria and cut-points the same for both?",
        data=data,
        columns=(
            group("by", "By"),
            group("group", "Side"),
            group("against", "Compared with"),
            counted("people", "Candidates", "people"),
            statistic("criteria", "p: criteria as hard beside each other", "p_value"),
            statistic("cut_points", "p: cut-points as far apart", "p_value"),
            counted("n_criteria", "Criteria compared", "number"),
            counted("n_small", "Shifts too small to matter", "number"),
            text("how", "How"),
        ),
        note="A small p says that they are not the same.",
        references=("rao_1948",),
    )
    return blank(table, policy.rule("minimum_group_size"))


def _tested(each: SameInstrument) -> pd.DataFrame:
    wide = each.tests.pivot(index=["group", "against"], columns="test", values=["p", "status", "method"])
    rows = wide.reset_index()
    data = _named(pd.DataFrame({name: rows[(name, "")] for name in ("group", "against")}), each.by)
    people = each.groups.set_index(each.groups["group"].astype("str"))["n_candidates"]
    data["people"] = people.reindex(rows[("group", "")].astype("str")).to_numpy()
    for test in ("criteria", "cut_points"):
        data[test] = rows[("p", test)].astype(float)
        data[test + STATUS] = rows[("status", test)].astype("str")
    data["how"] = rows[("method", "both")].map(_HOW).to_numpy()
    keys = ["group", "against"]
    shifts = each.criteria
    if shifts.empty:
        return data.assign(n_criteria=0, n_small=0)
    small = (
        shifts.assign(small=shifts["equivalence"] == EQUIVALENT).groupby(keys)["small"].agg(["size", "sum"])
    )
    at = small.reindex(pd.MultiIndex.from_arrays([rows[("group", "")], rows[("against", "")]]), fill_value=0)
    return data.assign(n_criteria=at["size"].to_numpy(), n_small=at["sum"].to_numpy())


def _criteria(found: Sequence[SameInstrument], policy: Policy) -> Table | None:
    """Criteria that were not shown to be the same, or shift beyond chance."""
    parts, left = [], 0
    for each in found:
        rows = each.criteria
        if rows.empty:
            continue
        kept, others = striking(rows, policy)
        left += others
        data = pd.concat([_named(kept, each.by), judged(kept, policy)], axis=1)
        data["sides"] = data["group"] + " beside " + data["against"]
        data["criterion"] = kept["criterion"].to_numpy()
        data["version"] = "both" if each.by == VERSION else kept["rubric_version"].to_numpy()
        parts.append(data.assign(**{name: kept[name].astype("Int64").to_numpy() for name in _PEOPLE}))
    if not parts or not sum(map(len, parts)):
        return None
    names = {
        "by": "By",
        "sides": "Side",
        "version": "Version",
        "criterion": "Criterion",
    }
    table = Table(
        key="same-instrument-criteria",
        title="Criteria that shift beyond chance, or may shift by more than matters",
        data=pd.concat([part for part in parts if len(part)], ignore_index=True),
        labels={**names, **_PEOPLE, **LABELS},
        units={**dict.fromkeys(_PEOPLE, "people"), **UNITS},
        group_columns=tuple(names),
        count_columns=tuple(_PEOPLE),
        statistic_columns=EFFECTS,
        note=f"Beside the common difference. Too small to matter: wholly within "
        f"±{policy.value('fairness_bound'):g} of a level. "
        f"{count(left, 'other', 'others')} {'was' if left == 1 else 'were'} shown to shift too little.",
    )
    return blank(table, policy.rule("minimum_group_size"))


def _answer(found: Sequence[SameInstrument], policy: Policy) -> str:
    alike, apart, none, small, all_of = [], [], [], 0, 0
    for each in found:
        known = each.criteria[each.criteria["contrast"].notna()] if not each.criteria.empty else each.criteria
        name = _words(each.by).lower()
        if known.empty:
            none.append(name)
            continue
        small, all_of = small + int((known["equivalence"] == EQUIVALENT).sum()), all_of + len(known)
        p = float(each.tests.loc[each.tests["test"] == "both", "p"].min())
        unlike = policy.rule("instrument_screen").met(p)
        if unlike:
            apart.append(f"{name} ({probability(p)}, largest shift {_largest(known)})")
        else:
            alike.append(name)
    told = []
    if apart:
        told.append(f"Not quite: criteria or cut-points differ by {listed(apart)}.")
    if alike:
        told.append(f"By {listed(alike)} the tests found no difference.")
    if none:
        told.append(f"Nothing could be compared by {listed(none)}.")
    if all_of:
        told.append(f"Of {count(all_of, 'shift')} of criteria {small} were shown to be too small to matter.")
    return " ".join(told)


def _largest(known: pd.DataFrame) -> str:
    row = known.iloc[int(known["contrast_level"].abs().argmax())]
    bounds = row["contrast_level_low"], row["contrast_level_high"]
    return f"{estimate(row['contrast_level'], *bounds, 'levels')} of a level on {row['criterion']}"
