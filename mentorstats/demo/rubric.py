"""The invented rubric as the demo needs it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_LABELS = {
    "help": "With much help",
    "part": "In part",
    "steady": "Steadily",
    "lead": "Pupils carry it on",
}
_FIRST = {
    "k7w2": "Says what the lesson is for, and pupils can say it back",
    "m3d9": "Starts from what pupils already know",
    "t5q8": "Keeps tasks within reach and worth reaching for",
    "r2h6": "Finds out during the lesson who follows and who does not",
    "w9c4": "Gives every pupil something to say or do",
    "f6n3": "Keeps time and materials from getting in the way",
    "d8v5": "Speaks with pupils so that they dare to be wrong",
    "p4x7": "Uses the last minutes to look back with pupils",
}
_SECOND = {
    **{code: text for code, text in _FIRST.items() if code != "p4x7"},
    "r2h6": "Checks each pupil's understanding and changes course on it",
    "h3b8": "Lets pupils judge their own work against an example",
}


@dataclass(frozen=True, slots=True)
class Rubric:
    """A rubric in its versions: levels lowest first, criteria in order."""

    name: str
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

    def criteria(self, version: str) -> Mapping[str, str]:
        """Wording of each criterion of a version."""
        return self.versions[version]

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

    def frame(self) -> pd.DataFrame:
        """One row a level of a criterion of a version."""
        return pd.DataFrame(
            [
                (self.name, version, code, level, rank, label, 1)
                for version, criteria in self.versions.items()
                for code in criteria
                for rank, (level, label) in enumerate(self.labels.items(), start=1)
            ],
            columns=["rubric", "version", "criterion", "level", "rank", "label", "weight"],
        )


def hearthside() -> Rubric:
    """Return the invented rubric."""
    return Rubric("hearthside", _LABELS, {"1": _FIRST, "2": _SECOND})
