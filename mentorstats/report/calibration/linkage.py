"""Section: which raters shared lessons and candidates link, and which only an assumption compares."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from mentorstats.calibration import Linkage
from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.report.model import Section, Table
from mentorstats.report.numbers import count
from mentorstats.report.small_groups import blank
from mentorstats.report.wording import listed, sentence

QUESTION = "What lets raters be compared?"
LINKS = {
    "same_lessons": "same lessons",
    "same_candidates": "same candidates at other times",
    "other_role": "another role only",
    "none": "nobody of the role",
}
CUT_OFF = "Cut off without: raters who would be cut off from most of their role without this one."
WAYS = {
    "same_lessons": "the same lessons",
    "same_candidates": "the same candidates at other times",
    "other_role": "raters of another role only",
}
COMPARED = {
    Status.BY_ASSUMPTION.value: "by assumption",
    Status.NOT_IDENTIFIED.value: "not separable",
    Status.ONE_RATER.value: "only one of the role",
    Status.NO_RECORDS.value: "no usable rating",
}
JOINED = {
    Status.OK.value: "yes",
    Status.COHORT_IS_RATER.value: "no",
    Status.NO_RECORDS.value: "no rater in one of them",
}
ROLE_COLUMNS = {  # column: heading, unit
    "n_raters": ("Raters", "raters"),
    "n_networks": ("Networks", "number"),
    "share_largest": ("In the largest", "share"),
    "n_linked": ("Linked with most", "number"),
    "n_by_assumption": ("By assumption", "number"),
    "n_not_identified": ("Not separable", "number"),
    "n_thin": ("Thin links", "number"),
    "n_holding": ("Hold it together", "number"),
}
RATER_COLUMNS = {
    "n_lessons": ("Lessons", "lessons"),
    "n_candidates": ("Candidates", "people"),
    "n_shared_lessons": ("Lessons shared", "lessons"),
    "n_met_same_role": ("Met of own role", "number"),
    "n_met_other_role": ("Met of others", "number"),
    "network": ("Network", ""),
    "cut_off": ("Cut off without", "number"),
}


def section(
    found: Linkage, versions: Mapping[tuple[str, ...], Linkage], cohorts: pd.DataFrame, policy: Policy
) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.calibration.linkage`, with the policy's ``linking_lessons``.
    versions
        From `mentorstats.calibration.by_version`, with the same.
    cohorts
        From `mentorstats.calibration.in_common`, by cohort.
    """
    if found.roles.empty or not found.roles["n_raters"].sum():
        answer = "No rating has a rater, a role and a level, so there is nobody to compare."
        return Section(key="networks", question=QUESTION, answer=answer, status=Status.NO_RECORDS)
    minimum = policy.rule("minimum_group_size")
    tables = [
        _roles(found, minimum),
        *([_versions(versions)] if len(versions) > 1 else []),
        *_raters(found, minimum),
        *([_cohorts(cohorts)] if len(cohorts) else []),
    ]
    return Section(
        key="networks",
        question=QUESTION,
        answer=_answer(found.roles, minimum),
        tables=tuple(blank(table, minimum) for table in tables),
        method=_method(found),
        references=("weeks_williams_1964", "hopcroft_tarjan_1973", "stoer_wagner_1997"),
        caution=(
            "A link makes a comparison possible, not sure: how sure it is stands with the severities. Raters "
            "compared by assumption are not to be read on one scale with the others. Where the programme "
            "gave some raters the candidates who needed most help, the assumption is wrong, and the records "
            "alone can hardly show it.",
            "For planning visits and training: that a rater is not linked says how visits were planned, and "
            "nothing about the rater.",
        ),
    )


def _answer(roles: pd.DataFrame, minimum: Rule) -> str:
    told, hidden = [], []
    for name, row in roles.iterrows():
        n = int(row["n_raters"])
        if n and not minimum.met(n):
            hidden.append(_raters_of(str(name)))
        elif n:
            told.append(_of_role(str(name), row))
    text = f"{sentence('; '.join(told))}." if told else ""
    if hidden:
        text += f" Of {listed(hidden)} there are fewer than {minimum.value:g}, so nothing is shown."
    return text.strip()


def _of_role(role: str, row: pd.Series) -> str:
    parts = []
    for column, one, many, rest in (
        ("n_linked", "is", "are", f"linked with most others{_by(row)}"),
        ("n_by_assumption", "can", "can", "be compared with the rest only by assumption"),
        ("n_not_identified", "cannot", "cannot", "be told apart from site, cohort or rubric version"),
        ("n_one_rater", "has", "have", "nobody of the role to be compared with"),
    ):
        n = int(row[column])
        if n:
            parts.append(f"{n:,} {one if n == 1 else many} {rest}")
    return f"of {int(row['n_raters']):,} {_raters_of(role)}, {listed(parts)}"


def _by(row: pd.Series) -> str:
    """How the linked raters of a role are linked, with numbers where not all are alike."""
    used = {link: int(row[f"n_{link}"]) for link in WAYS if row[f"n_{link}"]}
    ways = [f"by {WAYS[link]}" if len(used) == 1 else f"{n:,} by {WAYS[link]}" for link, n in used.items()]
    return f" ({listed(ways)})" if ways else ""


def _raters_of(role: str) -> str:
    return "other raters" if role == "other" else f"{role}s"


def _method(found: Linkage) -> tuple[str, ...]:
    return (
        "Two raters are linked where both rated the same candidate, or where a chain of raters and "
        "candidates leads from one to the other; raters so linked make up a network. Within it severities "
        "differ by what the ratings show, whatever the candidates are like. The same lesson links most "
        "closely. The same candidate in other lessons takes the candidate to be the same but for growth, "
        "and a chain through raters of another role takes those to keep one standard. Ratings of one "
        "candidate under different versions of a rubric link nobody.",
        "A rater counts as linked in the network that holds more than half of the raters of the role. "
        "Outside it severity rests on the assumption that candidates came to raters as if at random. A "
        "rater with nobody of the role in the network, nor in the same site, cohort and rubric version, is "
        "not separable: severity and place are then the same thing.",
        f"A link is thin where taking away fewer than {found.fewest_lessons:g} shared lessons would cut a "
        "rater, or a group of raters, off from the largest group that holds together more firmly. A rater "
        "holds a network together where it would fall apart without the rater's ratings.",
        " ".join(("Ratings used:", f"{found.n_ratings:,}.", *found.notes)),
    )


def _roles(found: Linkage, minimum: Rule) -> Table:
    data = found.roles.reset_index()
    data["rater_role"] = data["rater_role"].map(lambda role: sentence(_raters_of(str(role))))
    kinds = found.bridges.index.get_level_values("bridge_kind").value_counts()
    bridging = [
        count(int(kinds.get(kind, 0)), kind) for kind in ("rater", "lesson", "candidate") if kind in kinds
    ]
    hanging = (
        f"Networks hang on {listed(bridging)}: without any one of them somebody would be cut off."
        if bridging
        else "Without any one rater, lesson or candidate nobody would be cut off."
    )
    return _table(
        "networks-roles",
        "How the raters of each role are linked",
        data,
        {"rater_role": "Role"},
        ROLE_COLUMNS,
        note=f"{hanging} Raters of fewer than {minimum.value:g} candidates are counted but not listed below.",
    )


def _versions(versions: Mapping[tuple[str, ...], Linkage]) -> Table:
    named = {", version ".join(key): each.roles for key, each in versions.items()}
    data = pd.concat(named, names=["version"]).reset_index()
    data["rater_role"] = data["rater_role"].map(lambda role: sentence(_raters_of(str(role))))
    data = data[data["n_raters"] > 0].reset_index(drop=True)
    return _table(
        "networks-versions",
        "The same, under each rubric version by itself",
        data,
        {"version": "Rubric version", "rater_role": "Role"},
        ROLE_COLUMNS,
        note="Severity is told version by version, so this is what links raters there.",
    )


def _raters(found: Linkage, minimum: Rule) -> list[Table]:
    """Raters with enough candidates, linked ones and others apart, in the order of their codes."""
    data = found.raters.reset_index().sort_values(["rater", "rater_role"], ignore_index=True)
    data["cut_off"] = data["n_cut_off_same_role"] + data["n_cut_off_other_role"]
    data["by"] = data["link"].map(LINKS)
    data["compared"] = data["status"].map(COMPARED)
    data["strength"] = data["thin"].map({True: "thin", False: "firm"})
    enough = data["n_candidates"].map(minimum.met)
    linked = data["status"] == Status.OK.value
    tables = []
    for key, title, own, words in (
        ("linked", "Raters linked with most of their role", linked, {"by": "Linked by", "strength": "Link"}),
        ("apart", "Raters outside it", ~linked, {"compared": "Compared", "remark": "Remark"}),
    ):
        rows = data[own & enough].reset_index(drop=True)
        if rows.empty:
            continue
        rows["remark"], told = _remarks(rows["status_note"])
        note = f"{CUT_OFF} {_few(own, enough, minimum)}"
        tables.append(
            _table(
                f"networks-{key}",
                f"{title}, in the order of their codes",
                rows,
                {"rater": "Rater", "rater_role": "Role"},
                RATER_COLUMNS,
                words,
                " ".join([note, *(told if key == "apart" else [])]).strip(),
            )
        )
    return tables


def _remarks(notes: pd.Series) -> tuple[pd.Series, list[str]]:
    """Number of each row's note, and the notes with their numbers."""
    codes, found = pd.factorize(notes)
    told = [f"Remark {number}: {text}" for number, text in enumerate(found, start=1)]
    return pd.Series(codes + 1, index=notes.index).astype("str"), told


def _few(own: pd.Series, enough: pd.Series, minimum: Rule) -> str:
    n = int((own & ~enough).sum())
    return (
        f"{count(n, 'rater')} of fewer than {minimum.value:g} candidates {_are(n)} not listed." if n else ""
    )


def _are(n: int) -> str:
    return "is" if n == 1 else "are"


def _cohorts(cohorts: pd.DataFrame) -> Table:
    data = cohorts.reset_index()
    data["rater_role"] = data["rater_role"].map(lambda role: sentence(_raters_of(str(role))))
    chain = (data["status"] == Status.OK.value) & (data["n_raters_both"] == 0)
    data["joined"] = data["status"].map(JOINED).mask(chain, "only by a chain of others")
    return _table(
        "networks-cohorts",
        "Raters whom two cohorts have in common",
        data,
        {"rater_role": "Role", "first": "Cohort", "second": "Other cohort"},
        {
            "n_raters_first": ("Raters in the one", "raters"),
            "n_raters_second": ("In the other", "raters"),
            "n_raters_both": ("In both", "number"),
        },
        {"joined": "Joined by raters"},
        "Where raters do not join two cohorts, a difference between the cohorts cannot be told from one "
        "between their raters.",
    )


def _table(
    key: str,
    title: str,
    data: pd.DataFrame,
    groups: Mapping[str, str],
    columns: Mapping[str, tuple[str, str]],
    words: Mapping[str, str] | None = None,
    note: str = "",
) -> Table:
    shares = tuple(name for name, (_, unit) in columns.items() if unit == "share")
    return Table(
        key=key,
        title=title,
        data=data,
        labels={**groups, **{name: label for name, (label, _) in columns.items()}, **(words or {})},
        units={name: unit for name, (_, unit) in columns.items() if unit},
        group_columns=tuple(groups),
        count_columns=tuple(name for name, (_, unit) in columns.items() if unit and name not in shares),
        statistic_columns=shares,
        note=note,
    )
