"""Commands that estimate and print: agree and plan."""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from mentorstats.commands.common import (
    DONE,
    note,
    note_set_aside,
    refuse_inputs,
    say,
    write_table,
)

if TYPE_CHECKING:
    import pandas as pd


NARROW = "ratings of one candidate are not independent; without --cluster the interval is likely too narrow"


def agree(asked: argparse.Namespace) -> int:
    """Print agreement of raters in a long table of ratings."""
    from mentorstats import agreement
    from mentorstats.records.reading.text_table import read_table
    from mentorstats.report.render import text as plain

    refuse_inputs(asked, asked.file)
    text = read_table(asked.file, sheet=asked.sheet, delimiter=asked.delimiter)
    levels, table = _declared(asked.levels, asked.level, text)
    wanted: dict[str, Any] = {
        "unit": asked.unit,
        "rater": asked.rater,
        "level": asked.level,
        "levels": levels,
        "cluster": asked.cluster,
        "confidence": asked.confidence,
    }
    found = agreement.coefficients(
        table, **wanted, weights=asked.weights, by=asked.by, interval=asked.interval, seed=asked.seed
    )
    if not asked.cluster and asked.interval != "none":
        note(f"mentorstats: {NARROW}")
    parts = list(_parts(found, table, asked.by))
    if asked.figure:
        _draw(asked.figure, parts, wanted, asked.weights)
    if asked.out:
        write_table(found.reset_index(), asked.out)
        return DONE
    for heading, rows, part in parts:
        if heading:
            say(f"{heading}\n")
        say(plain.agreement(rows, agreement.by_level(part, **wanted), weights=asked.weights))
        say()
        _print_intraclass(part, wanted, asked.seed)
    return DONE


def _print_intraclass(part: pd.DataFrame, wanted: dict[str, Any], seed: int) -> None:
    from mentorstats.agreement.scores import intraclass
    from mentorstats.report.render import text as plain

    block = intraclass.intraclass(part, **wanted, seed=seed)
    if block is not None:
        say(plain.intraclass(block.found, block.note))
        say()


def _draw(
    path: Path, parts: list[tuple[str, pd.DataFrame, pd.DataFrame]], wanted: dict[str, Any], weights: str
) -> None:
    from mentorstats import agreement
    from mentorstats.report.figures import agreement as agreement_figure
    from mentorstats.writing import write_beside

    what = {name: wanted[name] for name in ("unit", "rater", "level", "levels")}
    panels = [
        agreement_figure.Panel(heading, agreement.paired_counts(part, **what), rows)
        for heading, rows, part in parts
    ]
    drawn = agreement_figure.picture(panels, path.suffix.lower().removeprefix("."), weights=weights)
    note(f"mentorstats: wrote {write_beside(path, drawn)}")


def _declared(
    labels: Sequence[str], column: str, table: pd.DataFrame
) -> tuple[Sequence[object], pd.DataFrame]:
    """Levels, and the table with its levels in the same kind: numbers where all labels are numbers."""
    import pandas as pd

    from mentorstats.errors import need_columns

    need_columns(table.columns, [column], where="the file")
    declared = pd.to_numeric(pd.Series(labels, dtype="str"), errors="coerce")
    if declared.isna().any():
        return list(labels), table
    numbers = pd.to_numeric(table[column], errors="coerce")
    mixed = table[column].astype(object).where(~numbers.isin(declared), numbers)
    whole = bool((declared % 1 == 0).all())
    return [int(level) if whole else float(level) for level in declared], table.assign(**{column: mixed})


def _parts(
    found: pd.DataFrame, table: pd.DataFrame, by: list[str] | None
) -> Iterator[tuple[str, pd.DataFrame, pd.DataFrame]]:
    """Heading, results and rows of each group."""
    import pandas as pd

    if not by:
        yield "", found, table
        return
    groups = table.groupby(by, observed=True, dropna=False, sort=True)
    results = found.groupby(level=by, dropna=False, sort=True)
    for (key, rows), (_, chosen) in zip(groups, results, strict=True):
        named = pd.Series(key, index=by, dtype="object").fillna("not recorded")
        heading = ", ".join(f"{name} {value}" for name, value in named.items())
        yield heading, chosen.droplevel(list(range(len(by)))), rows


def plan(asked: argparse.Namespace) -> int:
    """Print how many visits by how many raters make a score dependable."""
    from mentorstats import policy, records
    from mentorstats.calibration.networks.extra_scores_by_role import role_links
    from mentorstats.records.checking import names
    from mentorstats.reliability.plans.visit_plans import visit_plans
    from mentorstats.report.figures import plans
    from mentorstats.report.render import text as plain
    from mentorstats.writing import write_beside

    refuse_inputs(asked, folder=asked.folder)
    rules = policy.read(asked.folder)
    target = rules.value("target_dependability") if asked.target is None else asked.target
    loaded = records.load(asked.folder)
    if not asked.names_are_codes:
        names.refuse(loaded.tables)
    note_set_aside(loaded)
    found = visit_plans(
        loaded.long(),
        rubrics=loaded.rubrics,
        visits=asked.visits,
        raters=asked.raters,
        target=target,
        visit_cost=asked.visit_cost,
        rater_cost=asked.rater_cost,
        cut=asked.cut,
        enough=math.ceil(rules.value("newest_version_candidates")),
        confidence=asked.confidence,
        seed=asked.seed,
    )
    if asked.out:
        write_table(found.table, asked.out)
    if asked.figure:
        drawn = plans.picture(found, asked.figure.suffix.lower().removeprefix("."))
        note(f"mentorstats: wrote {write_beside(asked.figure, drawn)}")
    say(plain.visit_plans(found, role_links(found.scores.table, price=asked.visit_cost)))
    return DONE
