"""Write layouts.csv: how right the proposal is on thirty layouts of exports, drawn with fixed seeds.

Run ``python tests/records/propose/score_layouts.py`` from the top folder; it takes about half a minute.
"""

import csv
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
COLUMNS = (
    "layout", "columns", "right", "wrong_and_sure", "unsure", "levels_given", "levels_loaded", "sum_given",
    "sum_loaded", "features",
)  # fmt: skip
SEEDS = range(30)


def scored(seed, folder):
    """One row of the table: a layout is written, proposed for, and loaded by what was proposed."""
    from propose.export_layouts import Layout, judged

    from mentorstats import records
    from mentorstats.records.propose import propose

    layout = Layout(seed).write(folder)
    found = propose(folder)
    told = judged(layout, found)
    given, total = layout.office.given()
    path = folder / "mapping.toml"
    path.write_text(found.text, encoding="utf-8")
    loaded = records.load(folder).long()["rank"].dropna()
    return {
        "layout": seed,
        "columns": len(told),
        "right": sum(one.right for one in told),
        "wrong_and_sure": sum(not one.right and not one.unsure for one in told),
        "unsure": sum(one.unsure for one in told),
        "levels_given": given,
        "levels_loaded": len(loaded),
        "sum_given": total,
        "sum_loaded": int(loaded.sum()),
        "features": " ".join(layout.features),
    }


def table():
    """Rows of all thirty."""
    with tempfile.TemporaryDirectory() as place:
        return [scored(seed, Path(place) / str(seed)) for seed in SEEDS]


if __name__ == "__main__":
    sys.path.insert(0, str(HERE.parent))
    rows = table()
    with (HERE / "layouts.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    for row in rows:
        print(*(row[name] for name in COLUMNS))
