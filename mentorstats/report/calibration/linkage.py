"""Section: which raters can be compared with each other, and which only under an assumption."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import pandas as pd

from mentorstats.calibration import Linkage
from mentorstats.calibration.analyse import Linked
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report.columns import Column, counted, group, statistic, text
from mentorstats.report.model import Concern, Finding, Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.wording import listed, raters_of, sentence

LINKS = {
    "same_lessons": "same lessons",
    "same_candidates": "same candidates at other times",
    "other_role": "another role only",
    "none": "nobody of the role",
}
WAYS = {
    "same_lessons": "the same lessons",
    "same_candidates": "the same candidates at other times",
    "other_role": "raters of another role only",
}
COMPARED = {
    Status.BY_ASSUMPTION.value: "assuming comparable caseloads",
    Status.NOT_IDENTIFIED.value: "confounded with site or cohort",
    Status.ONE_RATER.value: "only one of the role",
    Status.NO_RECORDS.value: "no usable rating",
}
JOINED = {
    Status.OK.value: "yes",
    Status.COHORT_IS_RATER.value: "no",
    Status.NO_RECORDS.value: "no rater in one of them",
}
ROLES = (
    counted("n_raters", "Raters", "raters"),
    counted("n_networks", "Networks", "number"),
    statistic("share_largest", "In the largest", "share"),
    counted("n_linked", "Connected with most", "number"),
    counted("n_by_assumption", "Assuming comparable caseloads", "number"),
    counted("n_not_identified", "Confounded with site or cohort", "number"),
)
ROBUSTNESS = (counted("n_thin", "Weak links", "number"), counted("n_holding", "Critical raters", "number"))
RATERS = (
    counted("n_lessons", "Lessons", "lessons"),
    counted("n_candidates", "Candidates", "people"),
    counted("n_shared_lessons", "Lessons shared", "lessons"),
    counted("n_met_same_role", "Raters of own role met", "number"),
    counted("n_met_other_role", "Raters of other roles met", "number"),
    text("network", "Network"),
    counted("cut_off", "Disconnected if removed", "number"),
)
ABOUT = partial(
    Section,
    key="networks",
    name="comparability of raters",
    question="Which raters can be compared with each other?",
)


def section(linked: Linked, policy: Policy) -> Section:
    """Build the section from `mentorstats.calibration.analyse.networks`."""
    found, versions, cohorts = linked.all, linked.versions, linked.cohorts
    if found.roles.empty or not found.roles["n_raters"].sum():
        nothing = "No rating has a rater, a role and a level."
        return ABOUT(answer=nothing, status=Status.NO_RECORDS, needs="ratings with rater, role and level")
    minimum = policy.rule("minimum_group_size")
    tables = [
        _roles(found),
        _robustness(found),
        *([_versions(versions)] if len(versions) > 1 else []),
        *_raters(found),
        *([_cohorts(cohorts)] if len(cohorts) else []),
    ]
    return ABOUT(
        answer=_answer(found.roles, minimum),
        detail=_detail(found.roles, minimum),
        main=("networks-roles",),
        tables=tuple(tables),
        findings=_findings(found.roles, minimum),
        method=_method(found),
        references=("weeks_williams_1964", "hopcroft_tarjan_1973", "stoer_wagner_1997"),
        caution=(
            "A link makes a comparison possible, not precise: the intervals of severity show how precise it "
            "is. Raters compared under the assumption must not be read on one scale with the others. Where "
            "some raters were given the candidates who needed most help the assumption is wrong, and the "
            "records alone can hardly show it.",
            "That a rater is not connected says how visits were planned, and nothing about the rater.",
        ),
    )


def _shown(roles: pd.DataFrame, minimum: Rule) -> list[tuple[str, pd.Series]]:
    return [
        (str(name), row) for name, row in roles.iterrows() if row["n_raters"] and minimum.met(row["n_raters"])
    ]


def _answer(roles: pd.DataFrame, minimum: Rule) -> str:
    told = []
    for name, row in _shown(roles, minimum):
        n, linked = int(row["n_raters"]), int(row["n_linked"])
        if linked == n:
            told.append(f"All {n:,} {raters_of(name)} can be compared with each other.")
        elif not linked:
            told.append(f"None of the {n:,} {raters_of(name)} can be compared with most others of the role.")
        else:
            told.append(
                f"{linked:,} of {n:,} {raters_of(name)} can be compared with most others of the role."
            )
    few = [raters_of(str(name)) for name, row in roles.iterrows() if 0 < row["n_raters"] < minimum.value]
    if few:
        told.append(f"There are fewer than {minimum.value:g} {listed(few)}, so their numbers are not shown.")
    return " ".join(told)


def _detail(roles: pd.DataFrame, minimum: Rule) -> tuple[str, ...]:
    """What connects those who are connected, and what is true of the others, a paragraph a role."""
    told = []
    for name, row in _shown(roles, minimum):
        parts = [f"{sentence(raters_of(name))} are connected by {ways}." for ways in (_by(row),) if ways]
        for column, words in (
            ("n_by_assumption", "can be compared with the rest only by assuming comparable caseloads"),
            ("n_not_identified", "cannot be distinguished from their site, cohort or rubric version"),
            ("n_one_rater", "had nobody of the role to be compared with"),
        ):
            n = int(row[column])
            if n:
                parts.append(f"{n:,} {words}.")
        if parts:
            told.append(" ".join(parts))
    return tuple(told)


def _findings(roles: pd.DataFrame, minimum: Rule) -> tuple[Finding, ...]:
    apart, names, some = [], [], False
    for name, row in _shown(roles, minimum):
        n = int(row["n_by_assumption"] + row["n_not_identified"])
        if n:
            whole = n == int(row["n_raters"])
            shown = f"all {n:,}" if whole else f"{n:,} of {int(row['n_raters']):,}"
            apart.append(f"{shown} {raters_of(name)}")
            names.append(raters_of(name))
            some |= not whole
    if not apart:
        return ()
    return (
        Finding(
            concern=Concern.NOT_COMPARABLE,
            what=f"Severity cannot be compared for {listed(apart)}.",
            how_sure="This follows from who rated whom; it can be overcome only by assuming that their "
            "candidates were as able as those of others.",
            action="Let a second rater"
            + (" from the main group" if some else " of the role")
            + " rate one of their lessons; the appendix lists the fewest such visits.",
            concerns=listed(names),
        ),
    )


def _by(row: pd.Series) -> str:
    """How the connected raters of a role are connected, with numbers where they differ."""
    used = {link: int(row[f"n_{link}"]) for link in WAYS if row[f"n_{link}"]}
    return listed([WAYS[link] if len(used) == 1 else f"{WAYS[link]} ({n:,})" for link, n in used.items()])


def _method(found: Linkage) -> tuple[str, ...]:
    return (
        "Two raters are connected where both rated the same candidate, or where a chain of raters and "
        "candidates leads from one to the other; raters so connected form a network. Within it, severities "
        "are compared whatever the candidates are like. The same lesson connects most closely. The same "
        "candidate in other lessons assumes that the candidate differs only by change over time, and a chain "
        "through raters of another role assumes that these keep one standard. Ratings of one candidate under "
        "different versions of a rubric connect nobody.",
        "A rater counts as connected in the network that holds more than half of the raters of the role. "
        "Outside it, severity rests on the assumption that candidates were assigned to raters as if at "
        "random. A rater with nobody of the role in the network, nor in the same site, cohort and rubric "
        "version, is confounded with that place.",
        f"A link is weak where removing fewer than {found.fewest_lessons:g} shared lessons would disconnect "
        "a rater, or a group of raters, from the largest group with firmer links. A rater is critical where "
        "the network would fall apart without the rater's ratings.",
        " ".join((f"{found.n_ratings:,} ratings were used.", *found.notes)),
    )


def _named(data: pd.DataFrame) -> pd.DataFrame:
    return data.assign(rater_role=data["rater_role"].map(lambda role: sentence(raters_of(str(role)))))


def _roles(found: Linkage) -> Table:
    return Table(
        key="networks-roles",
        title="Raters that can be compared, by role",
        data=_named(found.roles.reset_index()),
        columns=(group("rater_role", "Role"), *ROLES),
    )


def _robustness(found: Linkage) -> Table:
    kinds = found.bridges.index.get_level_values("bridge_kind").value_counts()
    bridging = [
        count(int(kinds.get(kind, 0)), kind) for kind in ("rater", "lesson", "candidate") if kind in kinds
    ]
    critical = (
        f"Critical for the networks: {listed(bridging)}. Without any one of them somebody would be "
        "disconnected."
        if bridging
        else "No single rater, lesson or candidate is critical for the networks."
    )
    return Table(
        key="networks-robustness",
        title="How robust the connections are, by role",
        data=_named(found.roles.reset_index()),
        columns=(group("rater_role", "Role"), ROLES[0], *ROBUSTNESS),
        note=critical,
    )


def _versions(versions: Mapping[tuple[str, ...], Linkage]) -> Table:
    named = {", version ".join(key): each.roles for key, each in versions.items()}
    data = pd.concat(named, names=["version"]).reset_index()
    return Table(
        key="networks-versions",
        title="Raters that can be compared, under each rubric version",
        data=_named(data[data["n_raters"] > 0].reset_index(drop=True)),
        columns=(group("version", "Rubric version"), group("rater_role", "Role"), *ROLES, *ROBUSTNESS),
    )


def _raters(found: Linkage) -> list[Table]:
    """Connected raters and others, in the order of their codes."""
    data = found.raters.reset_index().sort_values(["rater", "rater_role"], ignore_index=True)
    data["cut_off"] = data["n_cut_off_same_role"] + data["n_cut_off_other_role"]
    data["by"] = data["link"].map(LINKS)
    data["compared"] = data["status"].map(COMPARED)
    data["strength"] = data["thin"].map({True: "weak", False: "firm"})
    linked = data["status"] == Status.OK.value
    tables = []
    for key, title, own, words in (
        (
            "linked",
            "Raters connected with most of their role",
            linked,
            (text("by", "Connected by"), text("strength", "Link")),
        ),
        ("apart", "Other raters", ~linked, (text("compared", "Comparison"), text("remark", "Remark"))),
    ):
        rows = data[own].reset_index(drop=True)
        if rows.empty:
            continue
        rows["remark"], remarks = _remarks(rows["status_note"])
        tables.append(_of_raters(key, title, rows, words, remarks if key == "apart" else []))
    return tables


def _of_raters(
    key: str, title: str, rows: pd.DataFrame, words: tuple[Column, ...], remarks: list[str]
) -> Table:
    return Table(
        key=f"networks-{key}",
        title=f"{title}, in the order of their codes",
        data=rows,
        columns=(group("rater", "Rater"), group("rater_role", "Role"), *RATERS, *words),
        note=" ".join(
            ["Disconnected if removed: raters who would lose their connection without this one.", *remarks]
        ),
        people=True,
    )


def _remarks(notes: pd.Series) -> tuple[pd.Series, list[str]]:
    """Number of each row's note, the most common first, and the notes with their numbers."""
    order = {str(note): place for place, note in enumerate(notes.value_counts().index, start=1)}
    told = [f"Remark {place}: {note}" for note, place in order.items()]
    return notes.astype("str").map(order).astype("str"), told


def _cohorts(cohorts: pd.DataFrame) -> Table:
    data = cohorts.reset_index()
    chain = (data["status"] == Status.OK.value) & (data["n_raters_both"] == 0)
    data["joined"] = data["status"].map(JOINED).mask(chain, "only through a chain of others")
    return Table(
        key="networks-cohorts",
        title="Raters that two cohorts have in common",
        data=_named(data),
        columns=(
            group("rater_role", "Role"),
            group("first", "Cohort"),
            group("second", "Other cohort"),
            counted("n_raters_first", "Raters in the first", "raters"),
            counted("n_raters_second", "Raters in the other", "raters"),
            counted("n_raters_both", "Raters in both", "number"),
            text("joined", "Connected by raters"),
        ),
        note="Where raters do not connect two cohorts, a difference between the cohorts cannot be "
        "distinguished from one between their raters.",
    )
