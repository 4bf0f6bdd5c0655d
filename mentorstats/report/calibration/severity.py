"""Section: which raters rate higher or lower than others of their role, and how sure that is."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.calibration.follow_up import Flags
from mentorstats.calibration.raters.separation import CLEAR
from mentorstats.drawings import intervals
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report.columns import BOUNDS, STATUS, Column, carried, counted, group, statistic, text
from mentorstats.report.model import Figure, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number, probability
from mentorstats.report.small_groups import blank
from mentorstats.report.wording import listed, raters_of, sentence

FLAGGED, NOT_FLAGGED, NOT_ASSESSED = "yes", "no", "not assessed"
ABOUT = partial(
    Section,
    key="severity",
    name="severity of raters",
    question="Which raters rate higher or lower than others of their role?",
)


def section(flags: Flags, roles: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    flags
        From `mentorstats.calibration.flags`, severity among its tables.
    roles
        From `mentorstats.calibration.separation`.
    """
    found, chance = flags.tables["severity"], flags.chance["severity"]
    if not found["effect_level"].notna().any():
        status, note = _why_not(found)
        return ABOUT(answer=f"The ratings do not allow a model of raters. {note}", status=status)
    minimum, summary = policy.rule("minimum_group_size"), _roles(roles)
    shown = _whole(roles, minimum)
    hidden = blank(summary, minimum) is not summary  # a sum over all would give the hidden row back
    return ABOUT(
        answer=" ".join(_spread(roles, minimum, 1 - policy.value("confidence"))),
        detail=(*_groups(roles, minimum), _flags(found, chance, policy, hidden)),
        main=("severity-roles",),
        tables=(summary, _more_of_roles(roles), *_raters(found)),
        figures=tuple(_figure(role, found, minimum) for role in _several(found, minimum)),
        method=(
            "One ordinal model of all ratings includes role, weeks and cohort, candidates with their own "
            "change a week, lessons, raters, each rater's form of a lesson and each rater's own view of a "
            "criterion. A rater's severity is how much higher the rater would score an average candidate's "
            "lesson than an average rater of the role would, in rubric levels; below zero is stricter. The "
            "severity shown is shrunken: the fewer the candidates, the closer to zero. Its interval allows "
            "for the variance between raters being estimated, and that variance is one for all roles.",
            "Reliability is the share of true differences in the variance of the raters' unshrunken "
            "severities; it is high where raters differ. Whether raters differ at all is tested by a "
            "likelihood ratio with the reference that holds where a variance cannot be below zero; from a "
            f"statistic of {CLEAR:g} on it is approximated at the fit.",
            "A rater is flagged where the unshrunken severity passes Benjamini and Hochberg's procedure "
            f"among the raters of the role at q = {policy.value('flag_q'):g}, and its whole interval is more "
            f"than {policy.value('smallest_effect_level'):g} levels from zero. The number expected by chance "
            "takes standard errors as estimated; where lessons have as few as three ratings, simulated "
            "programmes show two or three times as many.",
        ),
        references=(
            "kass_steffey_1989",
            "self_liang_1987",
            "wright_masters_1982",
            "benjamini_hochberg_1995",
            "dempster_1959",
        ),
        caution=(
            "A severe rater may be the one who is right: nothing here compares with expert scores. All "
            "severities are compared with other raters of the programme. Where raters share no candidates, "
            "candidates are assumed to have been assigned as if at random.",
        ),
        verdict=Verdict.NOT_CLEAR if any(pd.isna(row["sd_level"]) for row in shown) else None,
    )


def _why_not(found: pd.DataFrame) -> tuple[Status, str]:
    if found.empty:
        return Status.NO_RECORDS, "There are no ratings."
    first = found.iloc[0]
    status = Status(first["status"])
    if has_value(status):
        return Status.NOT_IDENTIFIED, "No rater can be distinguished from what else the model holds."
    return status, sentence(str(first["status_note"]) or f"{status.value.replace('_', ' ')}.")


def _whole(roles: pd.DataFrame, minimum: Rule) -> list[pd.Series]:
    """Rows of whole roles that may be shown."""
    whole = roles[roles["network"].isna()]
    return [row for _, row in whole.iterrows() if minimum.met(row["n_raters"])]


_LINES = (("role",),)  # the networks of a role add up to the role


def _spread(roles: pd.DataFrame, minimum: Rule, alpha: float) -> list[str]:
    """How far raters of each role differ, a sentence each."""
    told = []
    for row in _whole(roles, minimum):
        who = sentence(raters_of(str(row["rater_role"])))
        if pd.isna(row["sd_level"]):
            told.append(f"For {who.lower()} this cannot be estimated.")
            continue
        sd = estimate(row["sd_level"], row["sd_level_low"], row["sd_level_high"], "distance")
        could = "" if row["p"] <= alpha else ", which could be chance"
        told.append(f"{who} differ by a standard deviation of {sd} levels{could} ({probability(row['p'])}).")
    return told or ["Not shown, because there are too few raters of each role."]


def _groups(roles: pd.DataFrame, minimum: Rule) -> tuple[str, ...]:
    """How many groups of severity can be distinguished, a sentence a role."""
    told = []
    for row in _whole(roles, minimum):
        if pd.isna(row["distinguishable_groups"]):
            continue
        n = max(1, round(row["distinguishable_groups"]))
        ends = [row["distinguishable_groups" + end] for end in BOUNDS]
        between = "" if any(map(pd.isna, ends)) else f" [{number(ends[0], 'few')}, {number(ends[1], 'few')}]"
        told.append(
            f"Among {raters_of(str(row['rater_role']))}, about {count(n, 'group')} of severity can be "
            f"distinguished{between}."
        )
    return (" ".join(told),) if told else ()


def _flags(found: pd.DataFrame, chance: pd.DataFrame, policy: Policy, hidden: bool) -> str:
    assessed = int(found["flagged"].notna().sum())
    if not assessed:
        why = found["flag_status"].mode().iloc[0].replace("_", " ")
        return f"No rater was assessed ({why})."
    n = int(found["flagged"].fillna(False).sum())
    expected = number(float(chance["flagged_by_chance"].sum()), "few")
    false = round(1 / policy.value("flag_q"))
    who = count(n, "rater") if hidden else f"{n} of {count(assessed, 'rater')} assessed"
    return (
        f"{who} {'is' if n == 1 else 'are'} flagged. If no raters "
        f"differed, about {expected} would be flagged by chance; of those flagged, about 1 in {false} may "
        "still be wrong."
    )


def _roles(roles: pd.DataFrame) -> Table:
    columns, data = _named(roles)
    shown = carried(
        roles, {"role_mean_level": "mean_level", "sd_level": "sd_level", "reliability": "reliability"}
    )
    data = data.join(shown.assign(**{"mean_level" + STATUS: Status.OK.value}))
    first = roles.loc[roles["role_mean"].eq(0) & roles["role_mean_low"].isna(), "rater_role"]
    mean = (
        (statistic("mean_level", f"Mean, compared with {raters_of(str(first.iloc[0]))}", "levels"),)
        if roles["rater_role"].nunique() > 1 and len(first)
        else ()
    )
    return Table(
        key="severity-roles",
        title="Differences in severity, by role",
        data=data,
        columns=(
            *columns,
            *mean,
            statistic("sd_level", "Standard deviation between raters", "distance"),
            statistic("reliability", "Reliability of differences", "ratio"),
        ),
        note="Intervals of the standard deviation are profile-likelihood limits; those of reliability "
        "follow from them.",
        lines=_LINES,
        total="whole",
    )


def _more_of_roles(roles: pd.DataFrame) -> Table:
    columns, data = _named(roles)
    names = ("typical_error", "spread_to_error", "distinguishable_groups")
    return Table(
        key="severity-roles-more",
        title="Standard error of severity, and groups that can be distinguished, by role",
        data=data.join(carried(roles, {name: name for name in names})),
        columns=(
            *columns,
            statistic("typical_error", "Typical standard error, in logits", "logits_size"),
            statistic("spread_to_error", "Standard deviation divided by standard error", "ratio"),
            statistic("distinguishable_groups", "Groups of severity that can be distinguished", "ratio"),
        ),
        note="The standard deviation of a network is that of its role.",
        references=("wright_masters_1982",),
        lines=_LINES,
        total="whole",
    )


def _named(roles: pd.DataFrame) -> tuple[tuple[Column, ...], pd.DataFrame]:
    """Role, network where there are several, and number of raters."""
    several = (group("network", "Separate network"),) if roles["network"].notna().any() else ()
    data = pd.DataFrame(
        {
            "role": roles["rater_role"].map(lambda role: sentence(raters_of(str(role)))),
            "network": roles["network"].map(lambda n: "all" if pd.isna(n) else str(n)),
            "n_raters": roles["n_raters"],
            "whole": roles["network"].isna(),
        }
    )
    return (group("role", "Role"), *several, counted("n_raters", "Raters", "raters")), data


def _rows(found: pd.DataFrame, role: str) -> pd.DataFrame:
    rows = found[found["rater_role"].astype("str") == role].sort_values("rater", ignore_index=True)
    data = rows[["rater", "n_candidates", "n_lessons"]].assign(
        network=rows["network"].map(lambda n: "" if pd.isna(n) else str(n)),
        flagged=[
            NOT_ASSESSED if pd.isna(yes) else FLAGGED if yes else NOT_FLAGGED for yes in rows["flagged"]
        ],
    )
    return data.join(carried(rows, {"effect_level": "severity"}))


def _raters(found: pd.DataFrame) -> list[Table]:
    """A table a role, in the order of codes."""
    several = (text("network", "Network"),) if found["network"].notna().any() else ()
    withheld = sorted({str(name) for name in found["flag_status"]} - {Status.OK.value})
    reasons = listed([name.replace("_", " ") for name in withheld])
    note = f"Not assessed where the status is {reasons}." if withheld else ""
    return [
        Table(
            key=f"severity-{role}",
            title=f"Severity of {raters_of(role)}, in the order of their codes",
            data=_rows(found, role),
            columns=(
                group("rater", "Rater"),
                counted("n_candidates", "Candidates", "people"),
                counted("n_lessons", "Lessons", "lessons"),
                statistic("severity", "Severity, in rubric levels", "levels"),
                *several,
                text("flagged", "Flagged"),
            ),
            note=note,
            references=("kass_steffey_1989",),
            people=True,
        )
        for role in _roles_of(found)
    ]


def _roles_of(found: pd.DataFrame) -> list[str]:
    return sorted(found["rater_role"].dropna().astype("str").unique())


def _several(found: pd.DataFrame, minimum: Rule) -> list[str]:
    """Roles with two raters or more who have enough candidates, and not too many to draw."""
    shown = found[found["n_candidates"].map(minimum.met)]
    sizes = shown["rater_role"].astype("str").value_counts()
    return [role for role in _roles_of(found) if 2 <= sizes.get(role, 0) <= intervals.MOST]


def _figure(role: str, found: pd.DataFrame, minimum: Rule) -> Figure:
    rows = _rows(found, role)
    rows = rows[rows["n_candidates"].map(minimum.met) & rows["severity"].notna()]
    apart = int(((rows["severity_low"] > 0) | (rows["severity_high"] < 0)).sum())
    return Figure(
        key=f"severity-{role}-figure",
        title=f"Severity of {raters_of(role)} in rubric levels, in the order of their codes",
        draw=partial(intervals.of_raters, name="severity"),
        alt=f"A dot with its interval for each of {count(len(rows), 'rater')}, on a scale of levels "
        f"with zero, the mean of the role, marked. The intervals of {apart} exclude zero.",
        table=f"severity-{role}",
    )
