import re
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from mentorstats.drawings import charts
from mentorstats.errors import printable
from mentorstats.report.figures import drawing
from mentorstats.report.model import Figure

ROWS = pd.DataFrame(
    {
        "criterion": ["k7w2", "m3d9", "t5b1"],
        "criterion_words": ["Says what the lesson is for", "so long a title " * 9, None],
        "value": [0.3, -0.2, np.nan],
        "value_low": [0.1, -0.5, np.nan],
        "value_high": [0.5, 0.1, np.nan],
    }
)
GRID = pd.DataFrame(
    [[0.9, 0.1, 0.0], [0.2, 0.5, 0.3], [np.nan] * 3],
    index=["low", "mid", "high"],
    columns=["low", "mid", "high"],
)


def figure(draw, key="f"):
    return Figure(key=key, title="A & B", draw=draw, alt="Words < more", table="t")


@pytest.mark.parametrize(
    "draw",
    [lambda axes, _: charts.signed_differences(axes, ROWS), lambda axes, _: charts.level_grid(axes, GRID)],
    ids=["differences", "grid"],
)
def test_a_drawing_is_the_same_every_time_and_tells_its_words(draw):
    made = drawing.svg(figure(draw), ROWS)
    assert made == drawing.svg(figure(draw), ROWS)
    root = ElementTree.fromstring(made)
    assert [child.text for child in list(root)[:2]] == ["A & B", "Words < more"]
    assert "metadata" not in made
    assert not re.search(r"20\d\d-\d\d-\d\d", made)
    assert "ns0:" not in made


def test_two_drawings_share_no_id():
    def draw(axes, _):
        charts.signed_differences(axes, ROWS)

    ids = [re.findall(r'\bid="([^"]+)"', drawing.svg(figure(draw, key), ROWS)) for key in ("one", "two")]
    assert ids[0]
    assert not set(ids[0]) & set(ids[1])
    assert all(len(found) == len(set(found)) for found in ids)


def test_every_row_has_its_name_and_a_hidden_row_no_number():
    made = drawing.svg(figure(lambda axes, _: charts.level_grid(axes, GRID)), GRID)
    words = re.findall(r">([^<>]+)</text>", made)
    assert [word for word in words if word.endswith("%")] == ["20 %", "50 %", "30 %", "90 %", "10 %", "0 %"]
    assert {"low", "mid", "high"} <= set(words)


def test_text_in_a_cell_stands_out_from_any_shade():
    for shade in np.linspace(0, 1, 21):
        ink = charts._readable((shade, shade, shade, 1.0))
        linear = shade / 12.92 if shade <= 0.04045 else ((shade + 0.055) / 1.055) ** 2.4
        ratio = 1.05 / (linear + 0.05) if ink == "#ffffff" else (linear + 0.05) / 0.0543
        assert ratio >= 4.2  # black and white meet at 4.58; the ink is a little lighter than black


def test_a_figure_of_nothing_but_gaps_can_be_drawn():
    empty = ROWS.assign(value=np.nan, value_low=np.nan, value_high=np.nan)
    assert "k7w2" in drawing.svg(figure(charts.signed_differences), empty)


NAMES = ["from $5 to $10", "$\\undefined{", "a\x07b\x1b[0m", "文字 \u202e", "x^2_1 & <b>", "1e999"]


@pytest.mark.parametrize("name", NAMES)
def test_names_are_drawn_as_they_are_written_and_never_stop_a_figure(name):
    rows = ROWS.assign(criterion_words=[name, "two", "three"])
    made = drawing.svg(figure(lambda axes, _: charts.signed_differences(axes, rows)), rows)
    drawn = "".join(ElementTree.fromstring(made).itertext())
    assert printable(name) in drawn

    def titled(canvas):
        canvas.subplots().set_title(name)

    for kind in ("svg", "png"):
        assert drawing.picture(titled, kind=kind, width=4, height=3)
