"""Everything that is asked about two raters of one lesson, in one run."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement.coefficients import by_version
from mentorstats.agreement.counts import double_scoring, flow
from mentorstats.agreement.counts.pairing import double_scored
from mentorstats.agreement.reading import in_words, next_round, selection
from mentorstats.agreement.scores import between_roles, level_differences, single_scores
from mentorstats.policy import Policy
from mentorstats.progress import stage

CROSSED = ("candidate", "supervisor")


@dataclass(frozen=True)
class Survey:
    """Everything about agreement; each part is documented at the function that makes it.

    ``pairs`` holds the pairs of a mentor's and a supervisor's ratings of one lesson and criterion; all but
    ``with_all`` uses those given independently.
    """

    flow: pd.DataFrame
    lessons: double_scoring.DoubleScoring
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


def survey(
    long: pd.DataFrame,
    rubrics: pd.DataFrame,
    policy: Policy,
    *,
    observations: pd.DataFrame,
    seed: int = 0,
) -> Survey:
    """Ask everything about agreement.

    Parameters
    ----------
    long, rubrics, observations
        Tables of the records.
    policy
        Thresholds: ``confidence``, and those that the single parts name.
    seed
        Of drawn variances.
    """
    confidence = policy.value("confidence")
    pairs = double_scored(long)
    apart = pairs[pairs["independent"].fillna(True)]
    with stage("agreement of two raters"):
        by_criterion = by_version.by_version(apart, rubrics, confidence=confidence)
        overall = by_version.by_version(apart, rubrics, by=(), confidence=confidence)
        crossed = by_version.by_version(apart, rubrics, by=(), cluster=CROSSED, confidence=confidence)
        with_all = by_version.by_version(pairs, rubrics, by=(), confidence=confidence)
        alike = selection.compare(long, apart, rubrics, policy, more=observations)
        words, odd = in_words.in_words(by_criterion, policy), in_words.paradoxes(apart, rubrics, policy)
    with stage("reliability of a rating"):
        single = single_scores.single_scores(long, confidence=confidence, seed=seed)
    return Survey(
        flow=flow.flow(flow.checks(long)),
        lessons=double_scoring.double_scores(long),
        pairs=pairs,
        by_criterion=by_criterion,
        overall=overall,
        crossed=crossed,
        with_all=with_all,
        alike=alike,
        words=words,
        odd=odd,
        differences=level_differences.differences(apart, confidence=confidence),
        paired=level_differences.paired_levels(apart, rubrics),
        levels=between_roles.levels_used(apart, rubrics),
        shares=between_roles.shares(apart, rubrics),
        scores=between_roles.lesson_agreement(apart, confidence=confidence),
        next_round=next_round.needed(apart, rubrics, policy),
        single=single,
    )
