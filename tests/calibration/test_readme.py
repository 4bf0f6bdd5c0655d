"""The example of README.md runs as it stands, on any table of ratings."""

import re
from pathlib import Path

import pandas as pd
from crossed import programme

README = Path(__file__).parents[2] / "README.md"


def test_the_example_runs_on_a_plain_table() -> None:
    drawn = programme(4).drop(columns=["cohort", "rubric", "rubric_version"])
    names = drawn["candidate"].unique()
    given = {
        "ratings": drawn.rename(columns={"rank": "level"}),
        "groups": pd.Series([("first", "second")[at % 2] for at in range(len(names))], index=names),
    }
    blocks = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    (example,) = (block for block in blocks if "base_fit(table)" in block)
    exec(compile(example, "README.md", "exec"), given)
    assert len(given["severe"]) == 12
    assert set(given["found"].families["about"]) == {"severity", "drift over weeks", "halo"}
