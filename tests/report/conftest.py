"""A small invented programme, made by hand: two rubric versions, three sites, faults and gaps."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from mentorstats import policy
from mentorstats.records import crosswalk
from mentorstats.report import run, small_groups
from mentorstats.report.render import form

LEVELS = ("support", "part", "reliable", "adapts")
LABELS = ("With support", "In part", "Reliably", "Reliably, and adapts")
TITLES = {"k7w2": "Says what the lesson is for", "m3d9": "Builds on what pupils know and can do already"}
CRITERIA = {"1": ("k7w2", "m3d9", "t5b1"), "2": ("k7w2", "r8x4")}


def rubrics():
    return pd.DataFrame(
        [
            ("hearthside", version, criterion, level, rank, label, TITLES.get(criterion))
            for version, criteria in CRITERIA.items()
            for criterion in criteria
            for rank, (level, label) in enumerate(zip(LEVELS, LABELS, strict=True), start=1)
        ],
        columns=["rubric", "version", "criterion", "level", "rank", "label", "title"],
    )


def long(seed=7, lessons=150):
    """Ratings of mentors and supervisors; mentors lean upwards, site "Fern" has few candidates."""
    rng = np.random.default_rng(seed)
    rows = []
    for lesson in range(lessons):
        version = "1" if lesson < lessons * 0.6 else "2"
        candidate = f"c{lesson // 3:03}"
        site = "Fern" if lesson < 9 else ("Moss" if lesson % 2 else "Reed")
        both = lesson % 2 == 0
        for criterion in CRITERIA[version]:
            truth = rng.normal(2.5, 0.8)
            for role in ("mentor", "supervisor"):
                if role == "supervisor" and not both:
                    continue
                level = int(np.clip(round(truth + rng.normal(0.3 * (role == "mentor"), 0.5)), 1, 4))
                gap = rng.random() < 0.04
                rows.append(
                    {
                        "observation": f"o{lesson:04}",
                        "placement": f"p{lesson // 3:03}",
                        "candidate": candidate,
                        "cohort": "2025" if version == "1" else "2026",
                        "site": site,
                        "licensure_area": "science",
                        "grade_band": "lower",
                        "week": lesson % 3 + 1,
                        "date": pd.Timestamp("2025-09-01") + pd.Timedelta(days=2 * lesson),
                        "rater": f"{role[0]}{lesson // 3 if role == 'mentor' else lesson % 5:02}",
                        "rater_role": role,
                        "rubric": "hearthside",
                        "rubric_version": version,
                        "criterion": criterion,
                        "level": None if gap else LEVELS[level - 1],
                        "rank": pd.NA if gap else level,
                        "missing_reason": "not_observed" if gap else None,
                        "independent": pd.NA if lesson % 10 == 4 else lesson % 10 != 6,
                        "file": "visits.csv",
                        "sheet": None,
                        "row": len(rows) + 2,
                    }
                )
    frame = pd.DataFrame(rows)
    frame["level"] = pd.Categorical(frame["level"], LEVELS, ordered=True)
    return frame.astype({"rank": "Int8", "independent": "boolean", "missing_reason": "str"})


def problems():
    return pd.DataFrame(
        [
            ("no level", "visits.csv", "", 9, "level", "superb", "declared_level", "set_aside", "Map it."),
            ("no level", "visits.csv", "", 12, "level", "okay", "declared_level", "set_aside", "Map it."),
            ("not named", "notes.csv", "", pd.NA, "", "", "not_read", "notice", "Name it."),
        ],
        columns=["problem", "file", "sheet", "row", "column", "value", "rule", "effect", "remedy"],
    )


def observations(table):
    codes = sorted(table["observation"].unique())
    modes = ["recording" if place % 4 == 0 else "in_person" for place in range(len(codes))]
    return pd.DataFrame({"observation": codes, "visit_mode": modes})


def placements(table):
    """One placement a candidate; the mentor is the candidate's first one, two groups of candidates."""
    first = table.groupby("placement", as_index=False).first()
    mentors = table[table["rater_role"] == "mentor"].groupby("placement")["rater"].first()
    return pd.DataFrame(
        {
            "placement": first["placement"],
            "candidate": first["candidate"],
            "mentor": first["placement"].map(mentors),
            "entry_route": np.where(first.index % 2, "school_leaver", "career_changer"),
        }
    )


def sources(rows):
    return pd.DataFrame(
        [("visits.csv", None, "ratings", "ab12cd34ef56" * 5 + "abcd", rows + 2, rows, 2)],
        columns=["file", "sheet", "table", "sha256", "rows_read", "rows_kept", "rows_set_aside"],
    )


def records(table=None):
    """Stand in for ``Records``: what an analysis asks of it."""
    table = long() if table is None else table
    return SimpleNamespace(
        tables={},
        require=lambda *names: None,
        long=lambda: table,
        rubrics=rubrics(),
        observations=observations(table),
        placements=placements(table),
        key_ratings=pd.DataFrame(),
        raters=None,
        crosswalk=crosswalk.empty(),
        problems=problems(),
        sources=sources(len(table)),
    )


def with_minimum(n):
    """Return the shipped policy with another minimum group size."""
    rules = policy.read().rules
    return policy.Policy(tuple(replace(r, value=n) if r.id == "minimum_group_size" else r for r in rules))


@pytest.fixture(scope="session")
def shipped():
    """Return the policy as it is shipped, but with groups of fewer than ten people not shown."""
    return with_minimum(10)


@pytest.fixture(scope="session")
def minimum():
    return with_minimum


@pytest.fixture
def make_long():
    return long


@pytest.fixture
def make_records():
    return records


@pytest.fixture
def declared():
    return rubrics()


@pytest.fixture(scope="session")
def analysed(shipped):
    """Return the report of the invented programme as the analysis makes it."""
    return run.find("rater-calibration")(records(), shipped, seed=0)


@pytest.fixture(scope="session")
def made(analysed, shipped):
    """Return it with small groups blanked."""
    return small_groups.applied(analysed, shipped.rule("minimum_group_size"))


@pytest.fixture(scope="session")
def pages(analysed, shipped, tmp_path_factory):
    """Return its documents as text, by what their names end in."""
    folder = tmp_path_factory.mktemp("pages")
    paths = run.write(analysed, shipped, folder, [form("page")])
    return {
        path.stem.removeprefix("rater-calibration"): path.read_text(encoding="utf-8") for path in paths.paths
    }


@pytest.fixture(scope="session")
def html(pages):
    """Return its page."""
    return pages[""]


@pytest.fixture
def rendered(tmp_path, shipped):
    """Render a report of sections, or a whole one, and return all its documents as one text."""

    def render(report, rules=None):
        paths = run.write(report, rules or shipped, tmp_path / "rendered", [form("page")])
        return "".join(path.read_text(encoding="utf-8") for path in paths.paths)

    return render
