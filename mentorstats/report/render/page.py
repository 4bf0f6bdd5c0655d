"""A document as one HTML file that stands alone: no script, no font, no picture from elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from mentorstats.drawings import style
from mentorstats.report.blocks import Block, Document, FigureBlock, Heading
from mentorstats.report.figures import drawing
from mentorstats.report.render.view import view

ENDING = "html"
TOGETHER = False
_ROLES = {
    style.INK: "ink",
    style.QUIET: "quiet",
    style.ACCENT: "accent",
    style.RULE: "rule",
}


@dataclass(slots=True)
class _Group:
    """Blocks under one heading."""

    key: str
    blocks: list[Block]


def render(documents: Sequence[Document]) -> bytes:
    """Render a document as HTML in UTF-8; the same document gives the same bytes."""
    (document,) = documents
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    here = document.keys()

    def href(key: str) -> str:
        suffix = document.elsewhere.get(key, document.suffix)
        return f"#{key}" if key in here else f"{document.report}{suffix}.{ENDING}#{key}"

    environment.globals |= {
        "document": document,
        "href": href,
        "view": view,
        "drawn": _drawn,
        "kind_of": lambda block: type(block).__name__,
    }
    page = environment.get_template("page.html.j2").render(groups=_groups(document.blocks))
    return page.encode("utf-8")


def _groups(blocks: Iterable[Block]) -> list[_Group]:
    """Blocks under their headings, a part's name with the section that it opens."""
    groups: list[_Group] = []
    opens: list[Block] = []
    for block in blocks:
        if isinstance(block, Heading) and block.level == 1:
            opens = [block]
        elif isinstance(block, Heading) and block.level == 2:
            groups.append(_Group(block.key, [*opens, block]))
            opens = []
        elif groups:
            groups[-1].blocks.append(block)
        else:
            groups.append(_Group("", [block]))
    return groups


def _drawn(block: FigureBlock) -> Markup:
    """Draw a figure with the page's colours, so that it follows a dark scheme."""
    content = drawing.svg(block.figure, block.data)
    for colour, name in _ROLES.items():
        content = content.replace(colour, f"var(--{name}, {colour})")
    return Markup(content)
