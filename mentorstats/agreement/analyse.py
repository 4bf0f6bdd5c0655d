"""All that is asked about two raters of one lesson, and about raters beside the key, in one run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement import overview
from mentorstats.agreement.counts.pairing import double_scored
from mentorstats.agreement.reading import in_words, next_round, selection
from mentorstats.agreement.scores import between_roles
from mentorstats.entry import entry
from mentorstats.key_scores.certification import Certification
from mentorstats.policy import Policy
from mentorstats.progress import stage

CROSSED = ("candidate", "supervisor")


@dataclass(frozen=True)
class Survey:
    """Everything about agreement; each part is documented at the function that makes it.

    ``pairs`` holds the pairs of a mentor's and a supervisor's ratings of one lesson and criterion; all but
    ``with_all`` rests on those given independently. ``day`` is the one on which certificates are looked at.
    """

    flow: pd.DataFrame
    lessons: overview.DoubleScoring
    pairs: pd.DataFrame
    by_criterion: pd.DataFrame
    overall: pd.DataFrame
    crossed: pd.DataFrame
    with_all: pd.DataFrame
    alike: selection.Selection
    words: in_words.Words
    odd: pd.DataFrame
    differences: pd.DataFrame
    paired: pd.DataFrame
    levels: pd.DataFrame
    shares: pd.DataFrame
    scores: pd.DataFrame
    next_round: pd.DataFrame
    single: pd.DataFrame
    certified: Certification | None
    chances: pd.DataFrame | None
    standing: pd.DataFrame
    day: datetime.date | None


@entry()
def survey(
    long: pd.DataFrame,
    rubrics: pd.DataFrame,
    policy: Policy,
    *,
    observations: pd.DataFrame,
    key_ratings: pd.DataFrame,
    raters: pd.DataFrame | None = None,
    on: datetime.date | None = None,
    seed: int = 0,
) -> Survey:
    """Ask everything about agreement.

    Parameters
    ----------
    long, rubrics, observations, key_ratings, raters
        Tables of the records.
    policy
        Thresholds: ``confidence``, and those that the single parts name.
    on
        Day on which certificates are looked at; the last one with a rating, unless said.
    seed
        Of simulated raters and of drawn variances.
    """
    confidence = policy.value("confidence")
    pairs = double_scored(long)
    apart = pairs[pairs["independent"].fillna(True)]
    day = on or overview.last_day(long)
    with stage("agreement of two raters"):
        by_criterion = overview.by_version(apart, rubrics, confidence=confidence)
        overall = overview.by_version(apart, rubrics, by=(), confidence=confidence)
        crossed = overview.by_version(apart, rubrics, by=(), cluster=CROSSED, confidence=confidence)
        with_all = overview.by_version(pairs, rubrics, by=(), confidence=confidence)
        alike = selection.compare(long, apart, rubrics, policy, more=observations)
        words, odd = in_words.in_words(by_criterion, policy), in_words.paradoxes(apart, rubrics, policy)
    with stage("scores and key scores"):
        single = overview.single_scores(long, confidence=confidence, seed=seed)
        certified, chances = overview.key_scores(key_ratings, policy, confidence=confidence, seed=seed)
    return Survey(
        flow=overview.flow(overview.checks(long)),
        lessons=overview.double_scores(long),
        pairs=pairs,
        by_criterion=by_criterion,
        overall=overall,
        crossed=crossed,
        with_all=with_all,
        alike=alike,
        words=words,
        odd=odd,
        differences=overview.differences(apart, confidence=confidence),
        paired=overview.paired_levels(apart, rubrics),
        levels=between_roles.levels_used(apart, rubrics),
        shares=between_roles.shares(apart, rubrics),
        scores=between_roles.lesson_agreement(apart, confidence=confidence),
        next_round=next_round.needed(apart, rubrics, policy),
        single=single,
        certified=certified,
        chances=chances,
        standing=overview.standing(raters, long, on=day),
        day=day,
    )
