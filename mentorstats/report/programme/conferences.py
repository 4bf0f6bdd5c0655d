"""Section: whether visits and conferences kept to the programme's rules."""

from __future__ import annotations

from functools import partial

import pandas as pd

from mentorstats.estimate import Status
from mentorstats.policy import Policy, Rule
from mentorstats.programme.conferences import ANY_ROLE, Conferences
from mentorstats.report.columns import counted, group, statistic
from mentorstats.report.model import Concern, Figure, Finding, Section, Table, Verdict
from mentorstats.report.numbers import count, estimate, number
from mentorstats.report.programme.shares import share

WORDS = {
    "visit_minutes": "Length of a visit",
    "visit_pre_conference": "Conference before a visit",
    "visit_debriefed": "Debrief recorded",
    "visit_debrief_days": "Days to the debrief",
    "first_visit": "First visit in time",
    "visits_each_half": "Visits in each half",
    "visits_in_person": "Visits in person",
    "visit_gap_days": "Days between visits",
}
SPAN_WORDS = {
    "minutes": "Minutes of a visit",
    "debrief_minutes": "Minutes of a debrief",
    "debrief_days": "Days from visit to debrief",
    "first_day": "Days from start to first visit",
    "gap_days": "Days between visits",
}
ABOUT = partial(
    Section,
    key="conferences",
    name="visits and conferences",
    question="Were visits and conferences held as agreed?",
)


def section(found: Conferences, policy: Policy) -> Section:
    """Build the section from `mentorstats.programme.conferences.visits_within_rules`."""
    whose = "observed lessons" if found.role == ANY_ROLE else f"lessons rated by a {found.role}"
    if not found.n_visits:
        return ABOUT(
            answer=f"No visits are in the records: no {whose}.", status=Status.NO_RECORDS, needs=whose
        )
    least = policy.rule("visits_within_share")
    judged = found.by_rule[found.by_rule["status"] == Status.OK.value]
    below = judged[_clearly_below(judged, least)].sort_values("value")
    overall = _table(found, policy)
    return ABOUT(
        answer=f"The records have {count(found.n_visits, 'visit')}. {_answer(judged, below, least)}",
        main=("visit-rules", "visit-rules-figure"),
        tables=(overall, _sites(found, policy), _spans(found.spans)),
        figures=(
            Figure(
                key="visit-rules-figure",
                title="Share within each rule",
                draw=_draw,
                alt="A bar with its interval for each rule; the table has the same numbers.",
                table="visit-rules",
            ),
        ),
        findings=_findings(below, least),
        method=(
            f"Visits are {whose}, without lessons that the mentor taught. Rules for a visit are asked of "
            "each visit; rules for a placement of each completed placement with a start and an end. What "
            "was not recorded is left out and counted. A debrief counts where its day is recorded.",
            "Intervals are exact for independent visits. Visits of one candidate, or by one supervisor, "
            "resemble each other, so these intervals are somewhat too narrow.",
        ),
        references=("clopper_pearson_1934",),
        caution=(
            "A visit outside a rule may have a good reason, such as an illness. The shares describe the "
            "programme and its records, not single people.",
        ),
        verdict=_verdict(judged, below, least),
    )


def _clearly_below(rows: pd.DataFrame, least: Rule) -> pd.Series:
    return rows["high"] < least.value


def _verdict(judged: pd.DataFrame, below: pd.DataFrame, least: Rule) -> Verdict:
    if judged.empty:
        return Verdict.NOT_ASSESSED
    if len(below):
        return Verdict.NOT_MET
    return Verdict.MET if (judged["low"] >= least.value).all() else Verdict.UNDECIDED


def _answer(judged: pd.DataFrame, below: pd.DataFrame, least: Rule) -> str:
    if judged.empty:
        return "What was recorded of them does not let any rule be checked."
    asked = f"{number(least.value, 'share')}\N{NO-BREAK SPACE}%"
    checked = f"Of {count(len(judged), 'rule')} that could be checked,"
    if below.empty:
        return f"{checked} none was kept in clearly fewer than {asked} of cases."
    verb = "was" if len(below) == 1 else "were"
    return f"{checked} {len(below)} {verb} kept in clearly fewer than {asked} of cases."


def _share(row: pd.Series) -> str:
    return estimate(row["value"], row["low"], row["high"], "share")


def _findings(below: pd.DataFrame, least: Rule) -> tuple[Finding, ...]:
    if below.empty:
        return ()
    worst = below.iloc[0]
    rules = "one rule" if len(below) == 1 else f"{len(below)} rules"
    return (
        Finding(
            concern=Concern.MENTORING,
            what=f"Visits or conferences were outside {rules} of the policy more often than it allows.",
            how_sure=f"Kept least often: {WORDS[worst['rule']].lower()}, in {_share(worst)} of "
            f"{count(int(worst['n_units']), 'case')}; the policy asks for "
            f"{number(least.value, 'share')}\N{NO-BREAK SPACE}%.",
            action="Find out what kept visits from the rules, and plan the next term's visits by them or "
            "change the rules.",
            concerns="the schedule of visits",
        ),
    )


def _rule_words(name: str, policy: Policy) -> str:
    """What a rule asks, with its threshold."""
    if name in ("visit_pre_conference", "visit_debriefed"):
        return "yes"
    rule = policy.rule(name)
    if name == "first_visit":
        return f"in the first {number(rule.value, 'share')}\N{NO-BREAK SPACE}% of the placement"
    sense = "at least" if rule.inequality.startswith(">") else "at most"
    unit = rule.unit.removesuffix("s") if rule.value == 1 else rule.unit
    return f"{sense} {rule.value:g} {unit}"


def _shares(rows: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    data = rows[["rule", "n_candidates", "n_units", "n_left_out"]].copy()
    data["words"] = data["rule"].map(WORDS)
    data["asks"] = [_rule_words(name, policy) for name in data["rule"]]
    return data.join(share(rows))


_COUNTS = (
    counted("n_candidates", "Candidates", "people"),
    counted("n_units", "Cases", "number"),
    counted("n_left_out", "Not recorded", "number"),
)


def _table(found: Conferences, policy: Policy) -> Table:
    return Table(
        key="visit-rules",
        title="Visits and conferences held to the rules",
        data=_shares(found.by_rule, policy),
        columns=(
            group("words", "Rule"),
            group("asks", "Asked"),
            *_COUNTS,
            statistic("share", "Within the rule", "share"),
        ),
        note="A case is a visit, a time between two visits, or a placement, as the rule asks.",
        references=("clopper_pearson_1934",),
    )


def _sites(found: Conferences, policy: Policy) -> Table:
    rows = found.by_site.copy()
    rows["site"] = rows["site"].fillna("not recorded")
    return Table(
        key="visit-rules-site",
        title="The same by site, in the order of their names",
        data=_shares(rows, policy).join(rows["site"]),
        columns=(
            group("words", "Rule"),
            group("site", "Site"),
            *_COUNTS,
            statistic("share", "Within the rule", "share"),
        ),
        lines=(("rule",),),
        references=("clopper_pearson_1934",),
    )


def _spans(spans: pd.DataFrame) -> Table:
    data = spans.reset_index()
    data["words"] = data["quantity"].map(SPAN_WORDS)
    names = {
        "lower_quartile": "A quarter at or below",
        "median": "Half",
        "upper_quartile": "Three quarters",
        "ninth_decile": "Nine in ten",
        "largest": "Largest",
    }
    return Table(
        key="visit-spans",
        title="How long visits and debriefs were, and how far apart",
        data=data,
        columns=(
            group("words", "Length of time"),
            counted("n_candidates", "Candidates", "people"),
            counted("n_units", "Known", "number"),
            *(statistic(name, label, "number") for name, label in names.items()),
        ),
    )


def _draw(axes: object, data: pd.DataFrame) -> None:
    from mentorstats.drawings.charts import share_intervals

    rows = data.set_index("words")[["share", "share_low", "share_high"]]
    share_intervals(axes, rows.set_axis(["share", "low", "high"], axis=1))  # type: ignore[arg-type]
