"""What may the agreement of the two roles be called, and where does a high percent hide a low kappa?"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mentorstats.agreement.counts.pairing import VERSION, each_criterion
from mentorstats.agreement.reading.words import benchmark, paradox, read_against
from mentorstats.declared.bands import Scale, scale
from mentorstats.policy import Policy
from mentorstats.printed import Shown

KAPPA = "cohen_kappa"
WORDS, PROBABILITY = "agreement_words", "agreement_words_probability"


@dataclass(frozen=True, eq=False, repr=False)
class Words(Shown):
    """Weighted kappa of each group in the words that the policy chose.

    Attributes
    ----------
    scale
        The scale.
    read
        From `read_against`, indexed by the groups, with n_units, n_clusters and status.
    bands
        From `benchmark`, indexed by the groups and band, lowest first; groups without a standard error
        have no rows.
    """

    scale: Scale
    read: pd.DataFrame
    bands: pd.DataFrame


def in_words(found: pd.DataFrame, rules: Policy) -> Words:
    """Read weighted kappa, its interval and its error against the policy's scale of words.

    Parameters
    ----------
    found
        From `by_version`.
    rules
        Policy with the rows ``agreement_words`` (name of a scale in data_dictionary/bands) and
        ``agreement_words_probability``.

    Raises
    ------
    ArgumentError
        The policy names no scale that is there.
    """
    words, probability = scale(rules.choice(WORDS)), rules.value(PROBABILITY)
    rows = found[found.index.get_level_values("coefficient") == KAPPA]
    read = read_against(rows, words, probability=probability)
    read = read.join(rows[["n_units", "n_clusters", "status"]]).droplevel("coefficient")
    known = rows[(rows["se"] > 0) & rows["value"].notna()].droplevel("coefficient")
    parts = {
        key: benchmark(float(row["value"]), float(row["se"]), words, probability=probability)
        for key, row in known.iterrows()
    }
    bands = pd.concat(parts, names=known.index.names) if parts else pd.DataFrame()
    return Words(words, read, bands)


def paradoxes(pairs: pd.DataFrame, rubrics: pd.DataFrame, rules: Policy) -> pd.DataFrame:
    """Lay agreement open by criterion and level, as `paradox` does, where its alarm goes.

    Parameters
    ----------
    pairs, rubrics
        As in `by_version`.
    rules
        Policy with the rows that `paradox` asks for, and ``confidence``.

    Returns
    -------
    DataFrame
        Indexed by rubric, rubric_version, criterion and level (``all``, or the rank that is held
        against the others), the rows of `paradox` with an alarm; no rows where there is none.
    """
    parts = {}
    confidence = rules.value("confidence")
    for key, ratings, levels in each_criterion(pairs, rubrics):
        parts[key] = paradox(
            ratings,
            unit="pair",
            rater="side",
            level="rank",
            levels=levels,
            cluster="candidate",
            rules=rules,
            confidence=confidence,
        )
    if not parts:
        return pd.DataFrame({"alarm": pd.Series(dtype=bool)})
    found = pd.concat(parts, names=[*VERSION, "criterion"])
    return found[found["alarm"].astype(bool)]
