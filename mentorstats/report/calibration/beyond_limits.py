"""Tables of how many raters are beyond limits that hold a stated share of raters without peculiarities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from mentorstats.policy import Rule
from mentorstats.report import wording
from mentorstats.report.columns import counted, group, statistic
from mentorstats.report.model import Table
from mentorstats.report.numbers import count, number


@dataclass(frozen=True, slots=True)
class Look:
    """One measure: a table with a row a rater, its column, and the stem of the columns of its limits."""

    words: str
    data: pd.DataFrame
    name: str
    expected: str

    @property
    def below(self) -> pd.Series:
        """Whether a rater is below the limits."""
        return self.data[self.name] < self.data[f"{self.expected}_low"]

    @property
    def above(self) -> pd.Series:
        """Whether a rater is above the limits."""
        return self.data[self.name] > self.data[f"{self.expected}_high"]

    @property
    def there(self) -> pd.Series:
        """Whether a rater has value and limits."""
        return self.data[[self.name, f"{self.expected}_low"]].notna().all(axis=1)

    def of_enough(self, minimum: Rule) -> Look:
        """Return the same of the roles of enough raters: sums over all would give a hidden role away."""
        sizes = self.there.groupby(self.data["rater_role"].astype("str")).transform("sum")
        return replace(self, data=self.data[sizes.map(minimum.met).astype(bool)])


def table(key: str, looks: Sequence[Look], confidence: float) -> Table:
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
        title="Raters beyond the limits, by measure and role",
        data=pd.DataFrame(rows),
        columns=(
            group("measure", "Measure"),
            group("role", "Role"),
            counted("n_raters", "Raters", "raters"),
            statistic("below", "Below the limits", "number"),
            statistic("above", "Above the limits", "number"),
            statistic("by_chance", "Expected by chance on each side", "few"),
        ),
    )


def by_chance(n: int, confidence: float) -> float:
    """Raters expected on one side of the limits if none had any peculiarity."""
    return n * (1 - confidence) / 2


def told(look: Look, side: str, words: str, confidence: float, minimum: Rule) -> str:
    """A sentence: ``7 of 155 raters …; about 4 would be expected by chance.``, of roles shown."""
    look = look.of_enough(minimum)
    n = int(look.there.sum())
    if not minimum.met(n):
        return ""
    hits = int(((look.below if side == "below" else look.above) & look.there).sum())
    expected = number(by_chance(n, confidence), "few")
    who = f"{hits} of {count(n, 'rater')}" if hits else "No rater"
    return f"{who} {words}; about {expected} would be expected by chance."
