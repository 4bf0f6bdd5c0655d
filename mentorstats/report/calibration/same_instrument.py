"""Section: whether criteria and thresholds are the same for all roles, cohorts, modes and versions."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import pandas as pd

from mentorstats.calibration.groups.equivalence import EQUIVALENT
from mentorstats.calibration.groups.same_instrument import VERSION, SameInstrument
from mentorstats.estimate import Status
from mentorstats.policy import Policy
from mentorstats.report.calibration.fairness import EFFECTS, PEOPLE, judged, striking
from mentorstats.report.columns import STATUS, counted, group, statistic, text
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count, estimate, probability
from mentorstats.report.wording import listed

BY = {
    "rater_role": "Role",
    "cohort": "Cycle",
    "visit_mode": "Mode of the visit",
    "rubric_version": "Version of the rubric",
}
_HOW = {"one_step": "score test", "refit": "model fitted again", "wald": "from the fit", "none": ""}
ABOUT = partial(
    Section,
    key="same-instrument",
    name="equality of the instrument",
    question="Does the rubric measure the same thing everywhere?",
)
NEEDS = "two roles, cycles, modes of visit or rubric versions with enough candidates each"


def section(found: Sequence[SameInstrument], policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.same_instrument`, one a column.
    """
    told = [each for each in found if each.status == Status.OK]
    if not told:
        nothing = (
            "The records have one role, cycle, mode of visit and rubric version, or too few people of each."
        )
        status = found[0].status if found else Status.NO_RECORDS
        return ABOUT(answer=nothing, status=status, needs=NEEDS)
    tables = [_tests(told), _criteria(told, policy)]
    return ABOUT(
        answer=_answer(told, policy),
        detail=_detail(told),
        tables=tuple(table for table in tables if table is not None),
        method=(
            "Where the instrument is the same, criteria keep their order of difficulty and thresholds their "
            "distances. That one role is more lenient, or one cycle better, is left free and tested "
            "elsewhere. Each comparison is a score test from the base model. Where its p is below "
            f"{policy.value('instrument_screen'):g} the model is fitted again with all thresholds of both "
            "sides free, and the numbers are those of that fit. Standard errors are widened by how much "
            "candidates' scores scatter beyond the model.",
            "Versions of a rubric have thresholds of their own throughout and are never pooled. They are "
            "compared on the criteria with the same code in both; a criterion that was reworded appears as "
            "one that became harder or easier than the others. That all of them became so cannot be "
            "distinguished from better or weaker cycles.",
        ),
        references=("rao_1948", "rao_scott_1984", "schuirmann_1987", "benjamini_hochberg_1995"),
        caution=(
            "A criterion that is harder for one side may be worded differently, understood differently, or "
            "really be done less well there; the numbers do not say which.",
        ),
    )


def _words(by: str) -> str:
    return BY.get(by, by.replace("_", " ").capitalize())


def _named(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    names = {name: rows[name].astype("str").str.replace("_", " ").to_numpy() for name in ("group", "against")}
    return pd.DataFrame({"by": _words(by), **names}, index=range(len(rows)))


def _tests(found: Sequence[SameInstrument]) -> Table:
    return Table(
        key="same-instrument-tests",
        title="Are criteria and thresholds the same for both sides?",
        data=pd.concat([_tested(each) for each in found], ignore_index=True),
        columns=(
            group("by", "By"),
            group("group", "Side"),
            group("against", "Compared with"),
            counted("people", "Candidates", "people"),
            statistic("criteria", "p: same order of criteria", "p_value"),
            statistic("cut_points", "p: same distances of thresholds", "p_value"),
            counted("n_criteria", "Criteria compared", "number"),
            counted("n_small", "Differences too small to matter", "number"),
            text("how", "Method"),
        ),
        note="A small p is evidence that they are not the same.",
        references=("rao_1948",),
    )


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
        data["sides"] = data["group"] + " compared with " + data["against"]
        data["criterion"] = kept["criterion"].to_numpy()
        data["version"] = "both" if each.by == VERSION else kept["rubric_version"].to_numpy()
        parts.append(
            data.assign(
                **{name: kept[name].astype("Int64").to_numpy() for name in (column.name for column in PEOPLE)}
            )
        )
    if not parts or not sum(map(len, parts)):
        return None
    return Table(
        key="same-instrument-criteria",
        title="Criteria with a difference beyond chance, or possibly large enough to matter",
        data=pd.concat([part for part in parts if len(part)], ignore_index=True),
        columns=(
            group("by", "By"),
            group("sides", "Side"),
            group("version", "Version"),
            group("criterion", "Criterion"),
            *PEOPLE,
            *EFFECTS,
        ),
        note=f"Compared with the common difference. Too small to matter: wholly within "
        f"±{policy.value('fairness_bound'):g} levels. "
        f"{count(left, 'other', 'others')} {'was' if left == 1 else 'were'} shown to be too small to matter.",
    )


def _answer(found: Sequence[SameInstrument], policy: Policy) -> str:
    same, differ, none = [], [], []
    for each in found:
        known = _known(each)
        name = _words(each.by).lower()
        if known.empty:
            none.append(name)
        elif policy.rule("instrument_screen").met(_p(each)):
            differ.append(f"{name} ({probability(_p(each))}; largest difference {_largest(known)})")
        else:
            same.append(name)
    told = [f"Criteria or thresholds differ by {listed(differ)}."] if differ else []
    if same:
        told.append(f"No clear difference was found by {listed(same)}.")
    if none:
        told.append(f"Nothing could be compared by {listed(none)}.")
    return " ".join(told)


def _detail(found: Sequence[SameInstrument]) -> tuple[str, ...]:
    """How many differences of criteria were shown to be too small to matter."""
    known = [_known(each) for each in found]
    of = sum(map(len, known))
    small = sum(int((rows["equivalence"] == EQUIVALENT).sum()) for rows in known if len(rows))
    if not of:
        return ()
    return (
        f"Of {count(of, 'difference')} between criteria, {small:,} were shown to be too small to matter.",
    )


def _known(each: SameInstrument) -> pd.DataFrame:
    return each.criteria[each.criteria["contrast"].notna()] if not each.criteria.empty else each.criteria


def _p(each: SameInstrument) -> float:
    return float(each.tests.loc[each.tests["test"] == "both", "p"].min())


def _largest(known: pd.DataFrame) -> str:
    row = known.iloc[int(known["contrast_level"].abs().argmax())]
    bounds = row["contrast_level_low"], row["contrast_level_high"]
    return f"{estimate(row['contrast_level'], *bounds, 'levels')} levels on {row['criterion']}"
