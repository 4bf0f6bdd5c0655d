import numpy as np
import pandas as pd
import pytest
from grids import grid, name

from mentorstats.disclosure import (
    Published,
    Share,
    Sum,
    audit,
    bounds,
    fewest_partners,
    from_tables,
    partners,
)
from mentorstats.disclosure.audit import exposed
from mentorstats.disclosure.published import cells_of
from mentorstats.errors import ArgumentError, DisclosureError

TABLE = [[20, 5, 9], [8, 3, 14]]


def test_one_hidden_cell_in_a_line_is_known():
    published = from_tables([grid(TABLE)]).hiding([name(0, 1)])
    assert bounds(published).loc[name(0, 1)].tolist() == [5, 5]
    assert audit(published, [name(0, 1)], width=1)["recovered"].all()


def test_a_protected_cell_that_is_shown_is_recovered():
    published = from_tables([grid(TABLE)])
    found = audit(published, [name(1, 1)], width=2).loc[name(1, 1)]
    assert (found["low"], found["high"], found["recovered"]) == (3, 3, True)


def test_another_table_gives_away_what_one_hides():
    by_area = grid([[25, 9], [11, 14]], "row", "area")
    one, two = from_tables([grid(TABLE)]), from_tables([grid(TABLE), by_area])
    gone = [name(i, j) for i in (0, 1) for j in (0, 1)]
    assert bounds(one.hiding(gone))["high"].gt(bounds(one.hiding(gone))["low"]).all()
    joined = Published(two.cells, (*two.sums, Sum("area 0", ("column 0", "column 1"))), ()).hiding(
        ["row 0", name(0, 0)]
    )
    assert bounds(joined).loc["row 0"].tolist() == [34, 34]


def test_a_whole_per_cent_of_few_people_gives_the_count_away():
    cells = cells_of({"passed": 7, "all": 12}).assign(hidden=[True, False])
    half = 0.005
    assert bounds(Published(cells, (), (Share("passed", "all", 0.58, half),))).loc["passed"].tolist() == [
        7,
        7,
    ]
    wide = bounds(Published(cells, (), (Share("passed", "all", 0.6, 0.05),)), whole=False).loc["passed"]
    assert wide.tolist() == pytest.approx([6.6, 7.8])
    both = Published(
        cells.assign(hidden=True, least=1.0, most=30.0), (), (Share("passed", "all", 0.58, half),)
    )
    assert bounds(both).loc["all"].tolist() == [12, 26]  # 7 of 12 to 15 of 26


def test_the_mean_of_three_on_a_rubric_gives_their_sum_away():
    cells = cells_of({"levels": 8, "people": 3}).assign(hidden=[True, False], most=[12, 3])
    found = bounds(Published(cells, (), (Share("levels", "people", 2.67, 0.005),)))
    assert found.loc["levels"].tolist() == [8, 8]


def test_nothing_bounds_a_count_that_adds_up_with_nothing():
    cells = cells_of({"alone": 4}, least=1).assign(hidden=True)
    assert bounds(Published(cells)).loc["alone"].tolist() == [1, np.inf]


def test_what_is_hidden_together_is_as_many_as_the_minimum():
    line = pd.DataFrame({"site": ["a", "b", "c", "total"], "n": [3, 4, 30, 37]})
    published = from_tables([line], least=1)
    few = ["site a", "site b"]
    assert partners(published, few, width=3).hidden == few
    assert exposed(published.hiding(few), 10) == [("site a", "site b")]
    assert len(partners(published, few, width=3, minimum=10).hidden) == 3


def test_nothing_is_hidden_where_nobody_is_few():
    published = from_tables([grid(TABLE)])
    assert partners(published, [], width=3).hidden == []
    assert fewest_partners(published, [], width=3).hidden == []


def test_what_cannot_be_protected_is_refused_by_name():
    cells = cells_of({"few": 2, "all": 2}).assign(most=[2, 2], least=[2, 2])
    with pytest.raises(DisclosureError, match="few could be worked out"):
        partners(Published(cells, (Sum("all", ("few",)),)), ["few"], width=2)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ([pd.DataFrame({"site": ["a", "b", "total"], "n": [1, 2, 4]})], "add up to 3"),
        (
            [pd.DataFrame({"site": ["a"], "n": [1]}), pd.DataFrame({"site": ["a"], "n": [2]})],
            "1 in one table",
        ),
        ([pd.DataFrame({"site": ["a"]})], "n"),
    ],
)
def test_tables_that_contradict_themselves_are_refused(tables, said):
    with pytest.raises(ArgumentError, match=said):
        from_tables(tables)


def test_names_that_nobody_has_are_refused():
    cells = cells_of({"a": 1})
    with pytest.raises(ArgumentError, match="no cell b"):
        Published(cells, (Sum("a", ("b",)),))
    with pytest.raises(ArgumentError, match="a is not hidden"):
        bounds(Published(cells), ["a"])
    with pytest.raises(ArgumentError, match="contradicts itself"):
        bounds(
            Published(cells_of({"a": 5, "b": 3}).assign(hidden=[True, False], least=4.0), (Sum("b", ("a",)),))
        )
