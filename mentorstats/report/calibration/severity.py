"""Section: which raters rate high and which low, how sure that is, and with whom to talk."""

from __future__ import annotations

import pandas as pd

from mentorstats.calibration.raters.separation import CLEAR
from mentorstats.estimate import Status, has_value
from mentorstats.policy import Policy, Rule
from mentorstats.report.model import BOUNDS, STATUS, Section, Table
from mentorstats.report.numbers import count, estimate, number, probability
from mentorstats.report.small_groups import blank
from mentorstats.report.wording import listed, sentence

QUESTION = "Which raters rate higher or lower than others of their role, beyond chance?"
MARKED, NOT_MARKED, NO_CALL = "look and talk", "no", "no call made"
NOTHING = "The ratings do not allow a model of raters"


def section(marked: pd.DataFrame, roles: pd.DataFrame, chance: pd.DataFrame, policy: Policy) -> Section:
    """Build the section.

    Parameters
    ----------
    marked
        From `mentorstats.calibration.calls.mark` of `mentorstats.calibration.severity`.
    roles
        From `mentorstats.calibration.separation`.
    chance
        From `mentorstats.calibration.calls.expected_by_chance`, with the same rules.
    """
    if not marked["effect_level"].notna().any():
        status, note = _why_not(marked)
        return Section(key="severity", question=QUESTION, answer=f"{NOTHING}: {note}", status=status)
    minimum = policy.rule("minimum_group_size")
    summary = blank(_roles(roles), minimum)
    return Section(
        key="severity",
        question=QUESTION,
        answer=" ".join([*_spread(roles, summary), _calls(marked, chance, summary)]),
        tables=(summary, _raters(marked, minimum)),
        method=(
            "One ordinal model of all ratings holds role, weeks and cohort, candidates with their own change "
            "a week, lessons, raters, each rater's form of a lesson and each rater's own view of a "
            "criterion. A rater's shift is how much higher the rater puts a middling candidate's lesson "
            "than a middling rater of the role would, in levels. The shift shown is a shrunken one: the "
            "fewer the candidates, the closer to zero. Its interval allows for the variance between raters "
            "being estimated.",
            "The reliability in the first table is high where raters differ: it is the share of true "
            "differences in the variance of the raters' unshrunken shifts. That raters differ at all is "
            "tested by a likelihood ratio, with the reference that holds where a variance cannot be below "
            f"zero; from a statistic of {CLEAR:g} on it is approximated at the fit.",
            "A rater is marked where two things hold: the unshrunken shift passes Benjamini and Hochberg's "
            f"procedure among the raters of the role at q = {policy.value('calls_q'):g}, and its whole "
            f"interval lies more than {policy.value('smallest_effect_level'):g} of a level from zero. Places "
            "are those that the raters' joint intervals leave open; neighbours in place need not differ. The "
            "marks of chance are computed from the errors as they are; where lessons have as few as three "
            "ratings, simulated programmes show two or three times as many.",
        ),
        references=(
            "kass_steffey_1989",
            "self_liang_1987",
            "wright_masters_1982",
            "benjamini_hochberg_1995",
            "dempster_1959",
            "klein_2020",
        ),
        caution=(
            "A mark is a reason to look at the ratings and to talk with the rater. It is no finding, no "
            "ranking, and no sole basis for a decision about a person; the programme's own policy and local "
            "rules come first. A severe rater may be the one who is right: nothing here compares with a key.",
            "All shifts are against other raters of the programme. That candidates came to raters as if at "
            "random is taken for granted where raters share no candidates.",
        ),
    )


def _why_not(marked: pd.DataFrame) -> tuple[Status, str]:
    if marked.empty:
        return Status.NO_RECORDS, "there are none."
    first = marked.iloc[0]
    status = Status(first["status"])
    if has_value(status):
        return Status.NOT_IDENTIFIED, "no rater can be told from what else the model holds."
    return status, str(first["status_note"]) or status.value.replace("_", " ") + "."


def _spread(roles: pd.DataFrame, summary: Table) -> list[str]:
    """How far raters of each role differ, in a sentence each; nothing of roles that are not shown."""
    shown = summary.data.loc[summary.data["sd_level"].notna(), "role"]
    whole = roles[roles["network"].isna() & roles["rater_role"].isin(shown)]
    told = []
    for row in whole.to_dict("records"):
        sd = estimate(row["sd_level"], row["sd_level_low"], row["sd_level_high"], "distance")
        apart = "beyond chance" if row["p"] <= 0.05 else "but this could be chance"
        told.append(
            f"{sentence(row['rater_role'])}s differ by a standard deviation of {sd} levels, {apart} "
            f"({probability(row['p'])})."
        )
    return told


def _calls(marked: pd.DataFrame, chance: pd.DataFrame, summary: Table) -> str:
    """How many are marked, and of how many unless that gives away what the summary hides."""
    judged = int(marked["marked"].notna().sum())
    if not judged:
        why = marked["call_status"].mode().iloc[0].replace("_", " ")
        return f"Nobody is marked, because no calls are made here ({why})."
    n = int(marked["marked"].fillna(False).sum())
    expected = number(float(chance["marks_by_chance"].sum()), "distance")
    verb = "is" if n == 1 else "are"
    hidden = summary.data["n_raters"].isna().any()
    who = count(n, "rater") if hidden else f"{n} of {count(judged, 'rater')}"
    return f"{who} {verb} marked for a talk; were all raters alike, chance would mark {expected} on average."


def _roles(roles: pd.DataFrame) -> Table:
    several = roles["network"].notna().any()
    data = pd.DataFrame(
        {
            "role": roles["rater_role"],
            "network": roles["network"].map(lambda n: "all" if pd.isna(n) else str(n)),
            "n_raters": roles["n_raters"],
            "whole": roles["network"].isna(),
        }
    )
    for name, source in (
        ("mean_level", "role_mean_level"),
        ("sd_level", "sd_level"),
        ("separation", "separation"),
    ):
        data[name] = roles[source]
        for bound in BOUNDS:
            data[name + bound] = roles[source + bound]
        data[name + STATUS] = roles["status"]
    for name in ("separation_reliability", "strata"):
        for end in ("", *BOUNDS):
            data[name + end] = roles[name + end]
    data["mean_level" + STATUS] = Status.OK.value
    labels = {"role": "Role"} | ({"network": "Separate network"} if several else {})
    labels["n_raters"] = "Raters"
    first = roles.loc[roles["role_mean"].eq(0) & roles["role_mean_low"].isna(), "rater_role"]
    if roles["rater_role"].nunique() > 1 and len(first):
        labels["mean_level"] = f"Middling rater, against a middling {first.iloc[0]}"
    return Table(
        key="severity-roles",
        title="How far raters differ",
        data=data,
        labels=labels
        | {
            "sd_level": "Standard deviation between raters",
            "separation": "Separation: that deviation over the error of a shift",
            "strata": "Groups of severity that could be told apart",
            "separation_reliability": "Reliability of differences (high: raters differ)",
        },
        units={
            "n_raters": "raters",
            "mean_level": "levels",
            "sd_level": "distance",
            "separation": "ratio",
            "strata": "ratio",
            "separation_reliability": "ratio",
        },
        group_columns=("role", "network") if several else ("role",),
        count_columns=("n_raters",),
        statistic_columns=("mean_level", "sd_level", "separation", "strata", "separation_reliability"),
        note="Intervals of the spread are limits of its profile likelihood; those beside it follow from "
        "them. A network has its role's spread.",
        references=("wright_masters_1982",),
        lines=(("role",),) if several else (),
        total="whole",
    )


def _raters(marked: pd.DataFrame, minimum: Rule) -> Table:
    """Raters of enough candidates, in the order of their codes."""
    marked = marked.assign(candidates_enough=marked["n_candidates"].map(minimum.met))
    of = marked.groupby("rater_role")["marked"].transform(lambda column: int(column.notna().sum()))
    data = pd.DataFrame(
        {
            "rater": marked["rater"],
            "role": marked["rater_role"],
            "network": marked["network"].map(lambda n: "" if pd.isna(n) else str(n)),
            "n_candidates": marked["n_candidates"],
            "n_lessons": marked["n_lessons"],
            "shift": marked["effect_level"],
            "shift" + BOUNDS[0]: marked["effect_level_low"],
            "shift" + BOUNDS[1]: marked["effect_level_high"],
            "shift" + STATUS: marked["status"],
            "places": [
                "" if pd.isna(low) else f"{low} to {high} of {n}"
                for low, high, n in zip(marked["rank_low"], marked["rank_high"], of, strict=True)
            ],
            "talk": [
                NO_CALL if pd.isna(flag) else MARKED if flag else NOT_MARKED for flag in marked["marked"]
            ],
        }
    )
    data = data[marked["candidates_enough"]].reset_index(drop=True)
    labels = {"rater": "Rater", "role": "Role", "n_candidates": "Candidates", "n_lessons": "Lessons"}
    labels |= {"shift": "Shift on the level scale"}
    if marked["network"].notna().any():
        labels["network"] = "Network"
    return Table(
        key="severity-raters",
        title="Raters, in the order of role and code",
        data=data,
        labels=labels | {"places": "Place, 1 is the lowest", "talk": "Marked"},
        units={"n_candidates": "people", "n_lessons": "lessons", "shift": "levels"},
        group_columns=("rater",),
        count_columns=("n_candidates", "n_lessons"),
        statistic_columns=("shift",),
        note=_note(marked, minimum),
        references=("kass_steffey_1989", "klein_2020"),
    )


def _note(marked: pd.DataFrame, minimum: Rule) -> str:
    """What is not listed, and why there is no call; network and status are explained before severity."""
    notes = []
    few = marked[~marked["candidates_enough"]]
    if len(few):
        verb = "is" if len(few) == 1 else "are"
        notes.append(
            f"{count(len(few), 'rater')} of fewer than {minimum.value:g} candidates {verb} not listed."
        )
        n = int(few["marked"].fillna(False).sum())
        if n:
            notes.append(f"Marked among them: {n:,}.")
    withheld = sorted(set(marked["call_status"]) - {Status.OK.value})
    if withheld:
        reasons = listed([name.replace("_", " ") for name in withheld])
        notes.append(f"No call is made where the status is {reasons}.")
    return " ".join(notes)
