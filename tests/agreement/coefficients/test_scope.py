"""Each interval says to whom it speaks."""

import numpy as np
import pandas as pd
import pytest

from mentorstats.agreement import by_level, coefficients, from_codes


def ratings():
    rng = np.random.default_rng(2)
    frame = pd.DataFrame({"lesson": np.repeat(np.arange(240), 2), "rater": np.tile(["x", "y"], 240)})
    frame["candidate"] = frame["lesson"] % 30
    frame["site"] = frame["candidate"] % 10
    frame["supervisor"] = frame["lesson"] // 30
    frame["licensure_area"] = frame["lesson"] % 9
    frame["second"] = np.where(frame["lesson"] % 7 < 4, "x", "y")
    return frame.assign(level=rng.integers(1, 4, 480))


WORDS = {
    None: "new lessons of these candidates and raters",
    "candidate": "new candidates, these raters",
    "site": "new sites, these raters",
    "licensure_area": "new licensure areas, these raters",
    "supervisor": "new raters, these candidates",
    "second": "new raters, these candidates",
    ("candidate", "supervisor"): "new candidates and new raters",
    ("candidate", "site"): "new sites, these raters",
}


@pytest.mark.parametrize("cluster", WORDS)
@pytest.mark.parametrize("table", [coefficients, by_level])
def test_who_is_clustered_may_be_new(cluster, table):
    columns = list(cluster) if isinstance(cluster, tuple) else cluster
    found = table(ratings(), unit="lesson", rater="rater", level="level", levels=[1, 2, 3], cluster=columns)
    spoken = found.loc[found["interval_method"] != "none", "generalises_to"]
    assert set(spoken) <= {WORDS[cluster]}
    assert (found.loc[found["interval_method"] == "none", "generalises_to"] == "").all()


def test_codes_have_no_names():
    codes = np.random.default_rng(1).integers(0, 3, (80, 2))
    cluster = np.column_stack([np.arange(80) // 8, np.arange(80) % 8])
    for ways, words in (
        (None, "new lessons of these candidates and raters"),
        (cluster[:, 0], "new clusters, these raters"),
        (cluster, "new clusters of each way"),
    ):
        assert from_codes(codes, levels=range(3), cluster=ways).generalises_to["cohen_kappa"] == words
