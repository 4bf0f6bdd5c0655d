"""Tables of how many raters lie beyond limits that hold a stated share of raters without peculiarities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from mentorstats.policy import Rule
from mentorstats.report import wording
from mentorstats.report.model import Table
from mentorstats.report.numbers import count


@dataclass(frozen=True, slots=True)
class Look:
    """One measure: a table with a row a rater, its column, and the stem of the columns of its limits."""

    words: str
    data: pd.DataFrame
    name: str
    expected: str

    @property
    def below(self) -> pd.Series:
        """Whether a rater lies below the limits."""
        return self.data[self.name] < self.data[f"{self.expected}_low"]

    @property
    def above(self) -> pd.Series:
        """Whether a rater lies above the limits."""
        return self.data[self.name] > self.data[f"{self.expected}_high"]

    @property
    def there(self) -> pd.Series:
        """Whether a rater has value and limits."""
        return self.data[[self.name, f"{self.expected}_low"]].notna().all(axis=1)

    def of_enough(self, minimum: Rule) -> Look:
        """The same of the roles of enough raters: sums over all would give a hidden role away."""
        sizes = self.there.groupby(self.data["rater_role"].astype("str")).transform("sum")
        return replace(self, data=self.data[sizes.map(minimum.met).astype(bool)])


def table(key: str, title: str, looks: Sequence[Look], confidence: float) -> Table:
    """One row a measure and role: how many raters below and above, and how many to expect by chance."""
    rows = []
    for look in looks:
        for role in look.data["rater_role"].unique():
            own = (look.data["rater_role"] == role) & look.there
            rows.append(
                {
                    "measure": look.words,
                    "role": wording.sentence(str(role)),
                    "n_raters": int(own.sum()),
                    "below": int((look.below & own).sum()),
                    "above": int((look.above & own).sum()),
                    "by_chance": by_chance(int(own.sum()), confidence),
                }
            )
    return Table(
        key=key,
        title=title,
        data=pd.DataFrame(rows),
        labels={
            "measure": "What",
            "role": "Role",
            "n_raters": "Raters",
            "below": "Below the limits",
            "above": "Above the limits",
            "by_chance": "By chance, on each side",
        },
        units={"n_raters": "raters", "below": "number", "above": "number", "by_chance": "few"},
        group_columns=("measure", "role"),
        count_columns=("n_raters",),
        statistic_columns=("below", "above", "by_chance"),
    )


def by_chance(n: int, confidence: float) -> float:
    """Raters expected on one side of the limits if none had any peculiarity."""
    return n * (1 - confidence) / 2


def told(look: Look, side: str, words: str, confidence: float) -> str:
    """``7 of 155 raters … (about 4 by chance)`` in running text."""
    n = int(look.there.sum())
    hits = int(((look.below if side == "below" else look.above) & look.there).sum())
    return f"{hits} of {count(n, 'rater')} {words} (about {by_chance(n, confidence):.0f} by chance)"
