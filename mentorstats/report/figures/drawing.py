"""Figures to inline SVG: one look, real text, the same bytes every time."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import matplotlib
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from mentorstats.drawings.style import HEIGHT, LOOK, WIDTH, Page
from mentorstats.errors import printable
from mentorstats.report.model import Figure

_SVG = "http://www.w3.org/2000/svg"
_LINK = "http://www.w3.org/1999/xlink"
_DPI = 160  # of a picture in pixels

_STYLE = {"svg.fonttype": "none", **LOOK}


def svg(figure: Figure, data: pd.DataFrame) -> str:
    """Draw a figure, from the data of its table as shown, as an SVG element that stands inside a page.

    The element carries role, title and the words of ``alt``; every id is made unique by the key.
    """
    settings: Any = {**_STYLE, "svg.hashsalt": figure.key}
    with matplotlib.rc_context(settings):
        canvas = Page(figsize=(WIDTH, HEIGHT), layout="constrained", facecolor="none")
        FigureCanvasAgg(canvas)
        figure.draw(canvas.subplots(), data)
        out = io.BytesIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        _save(canvas, out, format="svg", metadata=nothing)
    return _inline(out.getvalue(), figure)


def png(figure: Figure, data: pd.DataFrame) -> bytes:
    """Draw a figure, from the data of its table as shown, as a picture in pixels for a document."""
    return picture(
        lambda canvas: figure.draw(canvas.subplots(), data), kind="png", width=WIDTH, height=HEIGHT
    )


def picture(draw: Callable[[Page], object], *, kind: str, width: float, height: float) -> bytes:
    """Draw a figure for a file of its own, the same bytes every time.

    Parameters
    ----------
    draw
        Puts axes on the figure and fills them.
    kind
        ``png`` or ``svg``.
    width, height
        Inches.
    """
    settings: Any = {**_STYLE, "svg.hashsalt": "picture"}
    with matplotlib.rc_context(settings):
        canvas = Page(figsize=(width, height), layout="constrained", facecolor="white")
        FigureCanvasAgg(canvas)
        draw(canvas)
        out = io.BytesIO()
        nothing = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        _save(canvas, out, format=kind, dpi=_DPI, metadata=nothing)
    return out.getvalue()


def _save(canvas: Page, out: io.BytesIO, **how: Any) -> None:
    """Save with every text printable; a letter that this machine's fonts lack is left to the reader's."""
    for axis in [axis for axes in canvas.axes for axis in (axes.xaxis, axes.yaxis)]:
        formatter = axis.get_major_formatter()
        formatter.format_ticks = _printable_ticks(formatter.format_ticks)  # type: ignore[method-assign, assignment]
    for text in canvas.findobj(Text):
        if isinstance(text, Text):
            text.set_text(printable(text.get_text()))
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        canvas.savefig(out, **how)


def _printable_ticks(plain: Callable[[Any], list[str]]) -> Callable[[Any], list[str]]:
    return lambda values: [printable(text) for text in plain(values)]


def _inline(content: bytes, figure: Figure) -> str:
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _LINK)
    root = ElementTree.fromstring(content)
    for metadata in root.findall(f"{{{_SVG}}}metadata"):
        root.remove(metadata)
    _own_ids(root, figure.key)
    root.attrib.pop("version", None)
    root.attrib.pop("height", None)
    root.set("width", "100%")
    root.set("role", "img")
    root.set("aria-labelledby", f"{figure.key}-title {figure.key}-alt")
    for position, (tag, text) in enumerate((("title", figure.title), ("desc", figure.alt))):
        words = ElementTree.Element(f"{{{_SVG}}}{tag}", {"id": f"{figure.key}-{'alt' if position else tag}"})
        words.text = text
        root.insert(position, words)
    return ElementTree.tostring(root, encoding="unicode")


def _own_ids(root: ElementTree.Element, key: str) -> None:
    """Keep only ids that something refers to, with the key in front, so that none comes twice."""
    text = ElementTree.tostring(root, encoding="unicode")
    used = set(re.findall(r"url\(#([^)]+)\)", text)) | set(re.findall(r'href="#([^"]+)"', text))
    for element in root.iter():
        name = element.attrib.pop("id", None)
        if name in used:
            element.set("id", f"{key}-{name}")
        for attribute, value in element.attrib.items():
            if attribute.endswith("href") and value.startswith("#"):
                element.set(attribute, f"#{key}-{value[1:]}")
            elif "url(#" in value:
                element.set(attribute, value.replace("url(#", f"url(#{key}-"))
