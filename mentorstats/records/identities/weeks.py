"""Days made coarser: the first day of a week of the placement instead of the day itself."""

from collections.abc import Mapping

import pandas as pd

# Fields by table, and the field by which the row leads to its placement.
_DAYS = {
    "observations": (("date", "debrief_date"), "placement"),
    "orientation": (("due", "done"), "placement"),
    "placements": (("start", "end"), "placement"),
}


def coarsened(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return the tables with days of placements moved to the first day of their week in the placement.

    A placement starts on the Monday of the week in which it started, its weeks count from there as they did
    from the day itself. A day without a start to count from becomes the Monday of its week. Certificates of
    raters and days of key scores stay, for they belong to no placement.
    """
    placements = tables["placements"]
    start = placements["start"]
    monday = _monday(start)
    made = dict(tables)
    for name, (fields, key) in _DAYS.items():
        table = tables[name].copy()
        place = pd.Index(placements["placement"]).get_indexer(pd.Index(table[key]))
        began, week_began = (days.reindex(place).set_axis(table.index) for days in _by_place(start, monday))
        for field in fields:
            weeks = (table[field] - began).dt.days // 7
            day = week_began + pd.to_timedelta(weeks * 7, unit="D")
            table[field] = day.fillna(_monday(table[field])).astype(tables[name][field].dtype)
        made[name] = table
    return made


def _by_place(*columns: pd.Series) -> tuple[pd.Series, ...]:
    return tuple(column.reset_index(drop=True) for column in columns)


def _monday(days: pd.Series) -> pd.Series:
    monday: pd.Series = days - pd.to_timedelta(days.dt.day_of_week, unit="D")
    return monday
