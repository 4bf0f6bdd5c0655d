"""Programmes in which candidates come to supervisors at random, or by what they are like: size and power.

Each candidate has an own mentor and one supervisor, who rate three lessons each, one of them together, on
two criteria; a supervisor has eight candidates, and a mentor two. With "second" a supervisor from the next
caseload rates one more of the lessons. ``share`` of the candidates' variance lies between supervisors.

Run ``python tests/calibration/assignment_simulation.py > tests/calibration/assignment.csv`` to make the
table again (half an hour); ``programmes`` says how many a row rests on.
"""

import csv
import sys
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

from mentorstats.calibration import base_fit
from mentorstats.calibration.raters.assignment import assignment_check

TABLE = Path(__file__).parent / "assignment.csv"
SEED = 20261125
PROGRAMMES, SUBSET = 150, 3
SUPERVISORS, CASELOAD, CRITERIA = 12, 8, 2
SD = {"candidate": 1.4, "lesson": 0.75, "rater": 0.8, "criterion": 0.65}  # as in the invented programme
CUTS = (-3.6, -0.5, 2.8)
QUANTILE = norm.ppf(0.975)
HEADER = (
    "placement", "share", "programmes", "rejected_supervisor", "rejected_mentor", "covered_random",
    "covered_within", "with_candidates", "caseload_share", "first",
)  # fmt: skip


@dataclass(frozen=True)
class Cell:
    placement: str  # ordinary, or second: with a second supervisor on one lesson
    share: float


CELLS = [Cell(placement, share) for placement in ("ordinary", "second") for share in (0.0, 0.4)]


def forms(cell):
    """Candidate, lesson and rater of each form; raters below SUPERVISORS are supervisors."""
    rows = []
    for candidate in range(SUPERVISORS * CASELOAD):
        supervisor, half = candidate // CASELOAD, SUPERVISORS * CASELOAD // 2
        mentor = SUPERVISORS + (7 * candidate + candidate // half) % half
        rows += [(candidate, lesson, mentor) for lesson in (0, 1, 2)]
        rows += [(candidate, lesson, supervisor) for lesson in (2, 3, 4)]
        if cell.placement == "second":
            step = 1 + candidate % (SUPERVISORS - 1)
            rows.append((candidate, 3, (supervisor + step) % SUPERVISORS))
    return pd.DataFrame(rows, columns=["candidate", "lesson", "rater"])


def draw(cell, rng):
    """One programme's long table, what its candidates are like, and the severity of its raters."""
    table = forms(cell)
    candidates, raters = SUPERVISORS * CASELOAD, int(table["rater"].max()) + 1
    between = np.repeat(rng.normal(0, 1, SUPERVISORS), CASELOAD)
    own = rng.normal(0, 1, candidates)
    ability = SD["candidate"] * (np.sqrt(cell.share) * between + np.sqrt(1 - cell.share) * own)
    severity = rng.normal(0, SD["rater"], raters)
    lesson = rng.normal(0, SD["lesson"], (candidates, 5))
    crossing = rng.normal(0, SD["criterion"], (raters, CRITERIA))
    c, r = table["candidate"].to_numpy(), table["rater"].to_numpy()
    form = ability[c] + severity[r] + lesson[c, table["lesson"]]
    latent = form[:, None] + crossing[r] + rng.logistic(size=(len(table), CRITERIA))
    long = table.loc[table.index.repeat(CRITERIA)].reset_index(drop=True)
    long["rank"] = 1 + np.searchsorted(CUTS, latent.ravel())
    long["criterion"] = np.tile([f"k{k}" for k in range(CRITERIA)], len(table))
    return named(long), ability, severity


def named(long):
    """The columns of the long table."""
    lesson, candidate = long["lesson"].to_numpy(), long["candidate"].to_numpy()
    supervisor = long["rater"].to_numpy() < SUPERVISORS
    code = np.where(supervisor, "s", "m") + pd.Series(long["rater"]).astype(str).str.zfill(3)
    return pd.DataFrame(
        {
            "observation": [f"o{c:03}-{number}" for c, number in zip(candidate, lesson, strict=True)],
            "candidate": [f"c{c:03}" for c in candidate],
            "cohort": "one",
            "week": 2 + 2 * lesson,
            "rater": code,
            "rater_role": np.where(supervisor, "supervisor", "mentor"),
            "rubric": "invented",
            "rubric_version": "1",
            "criterion": long["criterion"],
            "rank": long["rank"].astype("Int8"),
        }
    )


def outcome(cell, rng):
    """What one programme adds to the table; None where the model cannot be fitted."""
    long, ability, severity = draw(cell, rng)
    base = base_fit(long)
    if base.status != "ok":
        return None
    found = assignment_check(base)
    raters = found.raters[found.raters["rater_role"] == "supervisor"]
    true = severity[:SUPERVISORS]
    quality = ability.reshape(SUPERVISORS, CASELOAD).mean(axis=1)
    roles = found.roles.set_index("rater_role")
    return [
        *(roles.loc[role, "status"] == "assignment_not_ignorable" for role in ("supervisor", "mentor")),
        *(covered(raters, name, true) for name in ("contrast", "within")),
        float(np.corrcoef(raters["contrast"] - true, quality)[0, 1]),
        roles.loc["supervisor", "caseload_share"],
    ]


def covered(raters, name, true):
    """Share of supervisors whose interval holds their severity."""
    off = np.abs(raters[name].to_numpy() - true)
    return float((off <= QUANTILE * raters[f"{name}_se"].to_numpy()).mean())


def run(number, programmes):
    """Mean outcome of the first programmes of a cell, and how many there were."""
    rng = [np.random.default_rng([SEED, number, i]) for i in range(programmes)]
    found = [each for each in (outcome(CELLS[number], own) for own in rng) if each is not None]
    return len(found), np.asarray(found, dtype=float)


def main():
    """Write the table."""
    writer = csv.writer(sys.stdout)
    writer.writerow(HEADER)
    for number, cell in enumerate(CELLS):
        count, found = run(number, PROGRAMMES)
        first = " ".join(repr(float(x)) for x in found[:SUBSET].mean(axis=0))
        writer.writerow([*astuple(cell), count, *(f"{x:.4f}" for x in found.mean(axis=0)), first])
        sys.stdout.flush()


if __name__ == "__main__":
    main()
