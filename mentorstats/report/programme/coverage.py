"""Section: records expected against records present, and who is missing late or left early."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy
from mentorstats.programme.coverage import Coverage
from mentorstats.report import wording
from mentorstats.report.columns import BOUNDS, STATUS, counted, group, statistic
from mentorstats.report.model import Concern, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number

STEPS = {
    "in_records": "In the records",
    "begun": "Begun, not only planned",
    "observed": "With an observed lesson",
    "with_level": "With a level from a rater",
    "independent_level": "With a level given independently",
    "with_week": "With a week, so that change can be estimated",
}
GROUPS = {"cohort": "Cycle", "site": "Site", "licensure_area": "Licensure area"}
PERCENT = "\N{NO-BREAK SPACE}%"
ABOUT = partial(
    Section,
    key="coverage",
    name="placements and lessons on record",
    question="Are the placements observed as often as the policy expects?",
)


def section(found: Coverage, sources: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    found
        From `mentorstats.programme.expected_and_present`.
    sources
        ``Records.sources``.
    """
    rule, minimum = policy.rule("visits_expected_share"), policy.rule("minimum_group_size")
    if ("all", "all") not in found.groups.index:
        return ABOUT(
            answer="No placement is completed, so nothing is expected yet.",
            tables=(_flow(found.flow),),
            status=Status.NO_RECORDS,
            needs="placements that are completed",
        )
    whole = _whole(found)
    if not minimum.met(int(whole["n_candidates"])):
        return ABOUT(
            answer=f"Not shown, because there are fewer than {minimum.value:g} candidates.",
            status=Status.TOO_FEW_TO_SHOW,
            verdict=Verdict.NOT_ASSESSED,
        )
    enough, lessons = rule.met(float(whole["value"])), count(found.expected, "observed lesson")
    answer = (
        f"Of {count(int(whole['n_placements']), 'completed placement')}, {_part(whole)} at least {lessons}. "
        f"The policy asks for {number(rule.value, 'share')}{PERCENT}."
    )
    tables = [_flow(found.flow), *_group_tables(found.groups), _roles(found.roles)]
    return ABOUT(
        answer=answer,
        detail=tuple(_detail(found, sources, minimum.value)),
        main=("coverage-flow",),
        tables=(*tables, *_leavers(found.leavers, minimum.value)),
        findings=() if enough else (_too_few(found, whole),),
        method=(
            "Placements count from the first filter to the last, each filter applied to what the one before "
            "left. A placement without a status counts as completed. The shares are full counts of the "
            "records, so they have no interval.",
            f"Late means in the last {number(1 - policy.value('late_part'), 'share')}{PERCENT} of the days "
            "between the start and the end of a placement. A form is what one rater gave one lesson, and "
            "should have a level for every criterion of its version.",
            "Those who left early are compared with those who completed on the mean level of each candidate "
            "in the weeks that both had, with Welch's interval for two groups of unequal variance.",
        ),
        references=("welch_1947",),
        verdict=Verdict.MET if enough else Verdict.NOT_MET,
    )


def _part(whole: pd.Series) -> str:
    n = int(whole["n_enough"])
    share = f"{n:,} ({number(whole['value'], 'share')}{PERCENT})" if n else "none"
    return f"{share} {'has' if n < 2 else 'have'}"


def _whole(found: Coverage) -> pd.Series:
    """All completed placements together."""
    return found.groups.xs("all", level="by").iloc[0]


def _too_few(found: Coverage, whole: pd.Series) -> Finding:
    short, lessons = int(whole["n_placements"] - whole["n_enough"]), count(found.expected, "observed lesson")
    return Finding(
        concern=Concern.TOO_FEW_VISITS,
        what=f"{count(short, 'completed placement')} had fewer than {lessons}.",
        how_sure=f"This is {number(1 - whole['value'], 'share')}{PERCENT} of the completed placements on "
        "record, a full count.",
        action="Plan the visits of a placement before it starts, and check halfway which are missing.",
        concerns="all sites",
    )


def _detail(found: Coverage, sources: pd.DataFrame, minimum: float) -> list[str]:
    whole = _whole(found)
    said = []
    aside = int(sources.loc[sources["table"] == "ratings", "rows_set_aside"].sum())
    if aside:
        verb = "was" if aside == 1 else "were"
        said.append(f"{count(aside, 'rating')} {verb} set aside as faulty and count as missing here.")
    without = int(whole["n_dated"] - whole["n_late"])
    if whole["n_dated"] and without:
        verb = "has" if without == 1 else "have"
        said.append(
            f"{count(without, 'completed placement')} {verb} no lesson on record in the last part of the "
            "placement. Where they end is then estimated from earlier lessons."
        )
    row = found.leavers.iloc[0]
    if has_value(Status(row["status"])) and min(row["n_first"], row["n_second"]) >= minimum:
        said.append(
            "In the first weeks, candidates who left early differ from those who completed by "
            f"{estimate(row['value'], row['low'], row['high'], 'levels')} levels on average."
        )
    elif row["n_first"]:
        said.append("Too few candidates left early to compare them with those who stayed.")
    return said


def _flow(flow: pd.DataFrame) -> Table:
    return Table(
        key="coverage-flow",
        title="From the placements in the records to those analysed",
        data=flow.reset_index().assign(step=[STEPS[name] for name in flow.index]),
        columns=(
            group("step", "Filter"),
            counted("n_left_out", "Excluded", "number"),
            counted("n", "Remaining", "number"),
        ),
    )


def _group_tables(groups: pd.DataFrame) -> list[Table]:
    tables = []
    for by, label in GROUPS.items():
        if by not in groups.index.get_level_values("by"):
            continue
        data = groups.xs(by, level="by").reset_index()
        data["share_late" + STATUS] = data["n_dated"].map(
            lambda n: Status.OK.value if n else Status.NO_RECORDS.value
        )
        tables.append(
            Table(
                key=wording.key("coverage-by", by.replace("_", "-")),
                title=f"Completed placements and their observed lessons, by {label.lower()}",
                data=data,
                columns=(
                    group("group", label),
                    counted("n_candidates", "Candidates", "people"),
                    counted("n_placements", "Completed placements"),
                    counted("n_expected", "Expected", "lessons"),
                    counted("n_lessons", "Observed", "lessons"),
                    statistic("value", "Placements with the lessons expected", "share"),
                    statistic("share_late", "Placements with a late lesson", "share"),
                ),
                lines=((),),
            )
        )
    return tables


def _roles(roles: pd.DataFrame) -> Table:
    data = roles.reset_index()
    data["role"] = [wording.sentence(wording.raters_of(str(name))) for name in data["rater_role"]]
    return Table(
        key="coverage-by-role",
        title="Ratings expected and present, by role",
        data=data,
        columns=(
            group("role", "Role"),
            counted("n_raters", "Raters", "raters"),
            counted("n_forms", "Forms"),
            counted("n_expected", "Expected", "ratings"),
            counted("n_ratings", "With a level", "ratings"),
            statistic("value", "Share", "share"),
        ),
    )


def _leavers(leavers: pd.DataFrame, minimum: float) -> list[Table]:
    row = leavers.iloc[0]
    if not has_value(Status(row["status"])):
        return []
    shown = leavers.assign(comparison="Left early, compared with completed")
    shown = shown.rename(columns={end.removeprefix("_"): f"value{end}" for end in BOUNDS})
    return [
        Table(
            key="coverage-leavers",
            title="Mean level in the first weeks of those who left early and of those who completed",
            data=shown,
            columns=(
                group("comparison", "Groups"),
                counted("n_first", "Left early", "people"),
                counted("n_second", "Completed", "people"),
                statistic("mean_first", "Mean level, left early", "distance"),
                statistic("mean_second", "Mean level, completed", "distance"),
                statistic("value", "Difference", "levels"),
            ),
        )
    ]
