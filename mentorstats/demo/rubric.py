"""The invented rubric of the data dictionary, as the demo needs it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from mentorstats import places


@dataclass(frozen=True, slots=True)
class Rubric:
    """A rubric in its versions.

    Attributes
    ----------
    name
        Code of the rubric.
    table
        One row a level of a criterion of a version, as the dictionary describes rubrics.
    labels
        Label of each level, lowest first.
    versions
        Wording of each criterion, in order, of each version.
    """

    name: str
    table: pd.DataFrame
    labels: Mapping[str, str]
    versions: Mapping[str, Mapping[str, str]]

    @property
    def levels(self) -> tuple[str, ...]:
        """Codes of the levels, lowest first."""
        return tuple(self.labels)

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the criteria of all versions, in order of first appearance."""
        return tuple(dict.fromkeys(code for version in self.versions.values() for code in version))

    def has(self) -> NDArray[np.bool_]:
        """Versions × criteria: whether the version has the criterion."""
        return np.array([[code in version for code in self.codes] for version in self.versions.values()])

    def reworded(self) -> NDArray[np.bool_]:
        """Versions × criteria: whether it is worded otherwise than where it first appears."""
        first: dict[str, str] = {}
        for version in self.versions.values():
            first = {**version, **first}
        return np.array(
            [
                [version.get(code, first[code]) != first[code] for code in self.codes]
                for version in self.versions.values()
            ]
        )


def hearthside() -> Rubric:
    """Read the invented rubric from the data dictionary."""
    path = places.data_dictionary() / "rubric.csv"
    table = pd.read_csv(path, dtype="str", keep_default_na=False)
    table["rank"] = table["rank"].astype("Int64")
    levels = table.drop_duplicates("level").sort_values("rank")
    return Rubric(
        name=str(table.loc[0, "rubric"]),
        table=table,
        labels=dict(zip(levels["level"], levels["label"], strict=True)),
        versions={
            str(version): dict(zip(rows["criterion"], rows["title"], strict=True))
            for version, rows in table.drop_duplicates(["version", "criterion"]).groupby("version")
        },
    )
