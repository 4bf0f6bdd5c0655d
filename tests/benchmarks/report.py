"""How long a full report takes on 101,000 invented ratings: `python tests/benchmarks/report.py`.

The folder is the programme of `programme.py` as exports that need no mapping. Said are wall and processor
time, the largest memory, and the same for the plain load of the folder in the same run, which is the peer.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
import programme

LEVELS = {1: "support", 2: "part", 3: "reliable", 4: "adapts"}
START = pd.Timestamp("2024-09-02")


def write(folder: Path) -> None:
    """Write placements, observations, ratings, rubrics and raters."""
    drawn = programme.ratings()
    of_role = np.where(drawn["rater"] < programme.MENTORS, "mentor", "supervisor")
    ratings = pd.DataFrame(
        {
            "observation": "o" + drawn["lesson"].astype(str),
            "rater": "r" + drawn["rater"].astype(str),
            "rater_role": of_role,
            "rubric": "hearthside",
            "rubric_version": "1",
            "criterion": drawn["criterion"],
            "level": drawn["level"].map(LEVELS),
        }
    )
    ratings.to_csv(folder / "ratings.csv", index=False)
    lessons = drawn.drop_duplicates("lesson")
    day = START + pd.to_timedelta(365 * lessons["cohort"].str[1:].astype(int) + 7 * lessons["week"], unit="D")
    pd.DataFrame(
        {
            "observation": "o" + lessons["lesson"].astype(str),
            "placement": "p" + lessons["candidate"].astype(str),
            "date": day.dt.strftime("%Y-%m-%d"),
        }
    ).to_csv(folder / "observations.csv", index=False)
    raters = ratings.drop_duplicates("rater")
    mentors = drawn[of_role == "mentor"].groupby("candidate")["rater"].first()
    supervisors = drawn[of_role == "supervisor"].groupby("candidate")["rater"].first()
    candidates = drawn.drop_duplicates("candidate").set_index("candidate").sort_index()
    start = START + pd.to_timedelta(365 * candidates["cohort"].str[1:].astype(int), unit="D")
    pd.DataFrame(
        {
            "placement": "p" + candidates.index.astype(str),
            "candidate": "c" + candidates.index.astype(str),
            "mentor": "r" + mentors.reindex(candidates.index).fillna(0).astype(int).astype(str),
            "supervisor": "r" + supervisors.reindex(candidates.index).fillna(599).astype(int).astype(str),
            "site": "s" + (candidates.index % 25).astype(str),
            "cohort": candidates["cohort"].to_numpy(),
            "licensure_area": np.where(candidates.index % 2, "science", "languages"),
            "grade_band": "4-6",
            "start": start.dt.strftime("%Y-%m-%d").to_numpy(),
            "end": (start + pd.Timedelta(days=98)).dt.strftime("%Y-%m-%d").to_numpy(),
            "status": "completed",
            "gender": np.where(candidates.index % 3, "woman", "man"),
            "entry_route": np.where(candidates.index % 4, "school_leaver", "career_changer"),
        }
    ).to_csv(folder / "placements.csv", index=False)
    pd.DataFrame({"rater": raters["rater"], "role": raters["rater_role"]}).to_csv(
        folder / "raters.csv", index=False
    )
    pd.DataFrame(
        [
            ("hearthside", "1", criterion, name, rank)
            for criterion in sorted(drawn["criterion"].unique())
            for rank, name in LEVELS.items()
        ],
        columns=["rubric", "version", "criterion", "level", "rank"],
    ).to_csv(folder / "rubrics.csv", index=False)


def main() -> None:
    """Time the load and the report."""
    from mentorstats import cli, load

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder)
        begun = time.perf_counter(), time.process_time()
        long = load(folder).long()
        loaded = time.perf_counter() - begun[0], time.process_time() - begun[1]
        print(f"ratings {len(long)}; load {loaded[0]:.1f} s wall, {loaded[1]:.1f} s processor")
        begun = time.perf_counter(), time.process_time()
        code = cli.main(["report", "rater-calibration", str(folder), "--out", str(folder / "out")])
        took = time.perf_counter() - begun[0], time.process_time() - begun[1]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"report {took[0]:.1f} s wall, {took[1]:.1f} s processor, {took[0] / loaded[0]:.0f} loads")
        print(f"peak {peak:.2f} GB; exit code {code}")
        if "--keep" in sys.argv:
            target = Path("report-at-scale.html")
            target.write_bytes((folder / "out" / "rater-calibration.html").read_bytes())


if __name__ == "__main__":
    main()
