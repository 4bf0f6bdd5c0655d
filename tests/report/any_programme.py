"""Random small programmes, valid and often extreme, as a folder of exports.

Everything is drawn from one seed: sizes, how often lessons are scored twice, how far raters differ, how
levels bunch, what is missing. Nothing about them is like any real programme.
"""

from pathlib import Path

import numpy as np
import pandas as pd

START = pd.Timestamp("2025-09-01")


def tables(seed, candidates=(2, 41)):
    """The exports of one programme, table by name."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(*candidates))
    mentors = int(rng.integers(1, n + 1))
    supervisors = int(rng.integers(1, 7))
    n_levels, n_criteria = int(rng.integers(2, 7)), int(rng.integers(1, 9))
    cohorts, sites = int(rng.integers(1, 4)), int(rng.integers(1, 5))
    versions = int(rng.choice([1, 1, 1, 2]))
    visits = int(rng.integers(1, 6))
    both = float(rng.choice([0.0, 0.1, 0.5, 1.0]))
    empty = float(rng.choice([0.0, 0.02, 0.4]))
    middle = float(rng.choice([0.5, 0.9, 1.2]))
    noise = float(rng.choice([0.0, 0.5, 1.5]))
    severity = float(rng.choice([0.0, 0.4, 1.5]))
    marked = rng.random() < 0.5
    dated = rng.random() < 0.8

    c = np.arange(n)
    placements = pd.DataFrame(
        {
            "placement": [f"p{i}" for i in c],
            "candidate": [f"c{i if rng.random() < 0.95 else 0}" for i in c],
            "mentor": [f"m{i}" for i in rng.integers(mentors, size=n)],
            "supervisor": [f"s{i}" for i in rng.integers(supervisors, size=n)],
            "site": [f"site {i}" for i in rng.integers(sites, size=n)],
            "cohort": [str(2024 + i) for i in np.sort(rng.integers(cohorts, size=n))],
            "gender": rng.choice(["a", "b", ""], n),
            "start": START,
            "end": START + pd.Timedelta(days=int(rng.integers(1, 120))),
        }
    )
    if rng.random() < 0.3:
        placements = placements.drop(columns=["cohort", "gender", "supervisor"])
    lessons = (
        placements[["placement", "candidate", "mentor"]].loc[np.repeat(c, visits)].reset_index(drop=True)
    )
    lessons.insert(0, "observation", [f"o{i}" for i in range(len(lessons))])
    span = (placements["end"].iloc[0] - START).days
    lessons["date"] = START + pd.to_timedelta(rng.integers(0, span + 1, len(lessons)), unit="D")

    versions_of = rng.integers(versions, size=n)
    quality = rng.normal(size=n)
    shift = {f"{k}{i}": rng.normal(0, severity) for k in "msx" for i in range(max(mentors, supervisors, 2))}
    rows = []
    for index, lesson in enumerate(lessons.itertuples()):
        who = int(lesson.placement[1:])
        raters = [("mentor", lesson.mentor), ("supervisor", f"s{rng.integers(supervisors)}")]
        if rng.random() >= both:
            raters = [raters[int(rng.integers(2))]]
        elif rng.random() < 0.1:
            raters.append(("trainer", f"x{rng.integers(2)}"))
        lesson_effect = rng.normal(0, 0.3)
        for role, rater in raters:
            for criterion in range(n_criteria):
                at = quality[who] + lesson_effect + shift[rater] + rng.normal(0, noise + 1e-9)
                level = int(np.clip(np.floor(n_levels * (middle + 0.25 * at) * 0.99), 0, n_levels - 1))
                gap = rng.random() < empty
                rows.append(
                    (f"o{index}", rater, role, "r", str(versions_of[who] + 1), f"k{criterion}")
                    + (("", "not_scored") if gap else (f"L{level}", ""))
                    + (rng.choice(["true", "false"], p=[0.8, 0.2]),)
                )
    names = ["observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level"]
    ratings = pd.DataFrame(rows, columns=[*names, "missing_reason", "independent"])
    if not marked:
        ratings = ratings.drop(columns="independent")
    if not dated:
        lessons = lessons.drop(columns="date")
        placements = placements.drop(columns=["start", "end"])
    rubrics = pd.DataFrame(
        [
            ("r", str(version + 1), f"k{criterion}", f"L{level}", level + 1)
            for version in range(versions)
            for criterion in range(n_criteria)
            for level in range(n_levels)
        ],
        columns=["rubric", "version", "criterion", "level", "rank"],
    )
    made = {
        "placements": placements,
        "observations": lessons.drop(columns=["candidate", "mentor"]),
        "ratings": ratings,
        "rubrics": rubrics,
    }
    if rng.random() < 0.4:
        made["key_ratings"] = _key_ratings(rng, ratings, n_levels, n_criteria)
    if rng.random() < 0.4:
        raters = ratings[["rater", "rater_role"]].drop_duplicates("rater")
        made["raters"] = raters.rename(columns={"rater_role": "role"}).assign(certified_on=START)
    return made


def _key_ratings(rng, ratings, n_levels, n_criteria):
    raters = ratings["rater"].unique()[: int(rng.integers(1, 6))]
    rows = [
        (rater, f"v{v}", "r", "1", f"k{k}", *(f"L{i}" for i in rng.integers(n_levels, size=2)), day)
        for rater in raters
        for v, day in enumerate(START + pd.to_timedelta(30 * np.arange(rng.integers(1, 4)), unit="D"))
        for k in range(n_criteria)
    ]
    names = ["rater", "recording", "rubric", "rubric_version", "criterion", "level", "key_level", "date"]
    return pd.DataFrame(rows, columns=names)


def small(seed=5):
    """The usual small programme: 20 candidates, 12 mentors, 3 supervisors, one cohort, one version "A"."""
    rng = np.random.default_rng(seed)
    c = np.arange(20)
    placements = pd.DataFrame(
        {
            "placement": [f"p{i:02}" for i in c],
            "candidate": [f"c{i:02}" for i in c],
            "mentor": [f"m{i % 12:02}" for i in c],
            "supervisor": [f"s{i % 3}" for i in c],
            "site": [("Alder", "Birch", "Cedar")[i % 3] for i in c],
            "cohort": "2025-26",
            "start": START,
            "end": START + pd.Timedelta(days=110),
        }
    )
    quality = rng.normal(0, 0.8, 20)
    severity = {f"s{i}": (0.0, 0.5, -0.4)[i] for i in range(3)} | {f"m{i:02}": 0.3 for i in range(12)}
    lessons, ratings = [], []
    for i in c:
        for visit in range(4):
            lesson, day = f"o{i:02}{visit}", START + pd.Timedelta(days=int(14 + 26 * visit + rng.integers(7)))
            lessons.append((lesson, f"p{i:02}", day))
            given = [(f"s{i % 3}", "supervisor")]
            if visit % 2:
                given.append((f"m{i % 12:02}", "mentor"))
            about = quality[i] + 0.15 * visit + rng.normal(0, 0.3)
            for rater, role in given:
                for criterion in ("k7w2", "m3d9", "t5b1", "r8x4"):
                    at = 2.4 + about + severity[rater] + rng.normal(0, 0.5)
                    level = "" if rng.random() < 0.02 else f"L{int(np.clip(round(at), 1, 4))}"
                    reason = "" if level else "not_observed"
                    ratings.append((lesson, rater, role, "hearthside", "A", criterion, level, reason))
    names = ["observation", "rater", "rater_role", "rubric", "rubric_version", "criterion", "level"]
    raters = [(f"s{i}", "supervisor") for i in range(3)] + [(f"m{i:02}", "mentor") for i in range(12)]
    return {
        "placements": placements,
        "observations": pd.DataFrame(lessons, columns=["observation", "placement", "date"]),
        "ratings": pd.DataFrame(ratings, columns=[*names, "missing_reason"]),
        "rubrics": pd.DataFrame(
            [
                ("hearthside", "A", criterion, f"L{level}", level)
                for criterion in ("k7w2", "m3d9", "t5b1", "r8x4")
                for level in range(1, 5)
            ],
            columns=["rubric", "version", "criterion", "level", "rank"],
        ),
        "raters": pd.DataFrame(raters, columns=["rater", "role"]).assign(
            certified_on=START - pd.Timedelta(days=20), expires_on=START + pd.Timedelta(days=700)
        ),
    }


def write(seed, folder, candidates=(2, 41)):
    """Write the exports of a random programme into a folder."""
    _written(tables(seed, candidates), folder)


def write_small(folder):
    """Write the exports of the usual small programme into a folder."""
    _written(small(), folder)


def _written(made, folder):
    for name, table in made.items():
        table.to_csv(Path(folder) / f"{name}.csv", index=False, date_format="%Y-%m-%d")
