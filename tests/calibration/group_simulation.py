"""How often the tests of groups find what is not there, and what is, in data with known effects.

Each situation draws a programme of 72 candidates in two groups anew, fits the base model and asks the tests
of rater × group, role × group, criterion × group and cut-points. The last situation gives candidates
strengths of their own on single criteria, which the base model does not hold.

Run ``python tests/calibration/group_simulation.py > rows.csv`` to make the rows of group_simulation.csv
again, or with the names of some situations to make theirs (four minutes on one quiet core).
"""

import csv
import sys

import numpy as np
from grouped import grouped

from mentorstats import policy
from mentorstats.calibration import base_fit, fairness, same_instrument
from mentorstats.estimate import has_value

SEED = 20261125
DATA_SETS, SUBSET = 40, 1
SITUATIONS = {
    "nothing": {"gap": 1.0},
    "planted": {"gap": 1.0, "biased": -1.5, "criterion": -0.8, "cut": 0.6, "mentors": 0.5},
    "profiles": {"gap": 1.0, "profile": 0.5},
}


def outcome(situation, number):
    """P-values of each question in one data set."""
    seed = int(np.random.SeedSequence([SEED, list(SITUATIONS).index(situation), number]).generate_state(1)[0])
    long, groups = grouped(seed, **SITUATIONS[situation])
    base, rules = base_fit(long), policy.read()
    if not has_value(base.status):
        return {}
    found = fairness(base, groups, rules)
    raters = found.raters[found.raters["rater_role"] == "supervisor"].set_index("rater")["p"]
    criteria = found.criteria.set_index("criterion")["p"]
    spreads = found.spreads[found.spreads["rater_role"] == "supervisor"]["p"]
    of_lesson = base.rows.drop_duplicates("observation").set_index("observation")["candidate"].map(groups)
    instrument = same_instrument(base, rules, by="group", values=of_lesson, refit=False)
    tests = instrument.tests.set_index("test")["p"]
    supervisors = found.between.set_index("rater_role").loc["supervisor"]
    return {
        "rater r00": raters[["r00"]].tolist(),
        "other raters": raters.drop("r00").tolist(),
        "raters alike": [supervisors["p"]],
        "spread of a rater": spreads.tolist(),
        "role": found.roles["p"].tolist(),
        "all criteria": [found.criteria["p_joint"].iloc[0]],
        "criterion k1": criteria[["k1"]].tolist(),
        "other criteria": criteria.drop("k1").tolist(),
        "cut-points": [tests["cut_points"]],
        "criteria and cut-points": [tests["both"]],
    }


def run(situation, data_sets):
    """Question to (tests with an answer, p below .05)."""
    totals = {}
    for number in range(data_sets):
        for name, values in outcome(situation, number).items():
            p = np.array(values, dtype=float)
            count, below = totals.get(name, (0, 0))
            totals[name] = (count + int((~np.isnan(p)).sum()), below + int((p < 0.05).sum()))
        print(situation, number, file=sys.stderr, flush=True)
    return totals


def main(situations):
    writer = csv.writer(sys.stdout, lineterminator="\n")
    for situation in situations:
        first = run(situation, SUBSET)
        for name, (count, below) in run(situation, DATA_SETS).items():
            writer.writerow([situation, name, count, below, first[name][1]])
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:] or SITUATIONS)
