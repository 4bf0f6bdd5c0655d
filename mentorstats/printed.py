"""The printed form of a result: what it holds, how many, the caution about people, what to ask next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from html import escape

from mentorstats.caution import CAUTION

_SHOWN = 4  # notes; the rest are counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """What is printed of a result, as text and as HTML.

    Attributes
    ----------
    title
        What it is.
    facts
        What it holds, and how many; a sentence or a count each.
    notes
        What a reader has to know.
    ask
        Attributes and functions to go on with.
    people
        Whether it is about people, so that the caution stands below.
    """

    title: str
    facts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()
    people: bool = False

    @property
    def text(self) -> str:
        """A few lines of text."""
        lines = [self.title, *(f"  {fact}" for fact in self.facts)]
        lines += [f"  Note: {note}" for note in self._notes()]
        if self.ask:
            lines.append(f"  Next: {', '.join(self.ask)}")
        return "\n".join([*lines, *([CAUTION] if self.people else [])])

    @property
    def html(self) -> str:
        """The same as a fragment of HTML."""
        items = [escape(fact) for fact in self.facts] + [f"Note: {escape(note)}" for note in self._notes()]
        if self.ask:
            items.append("Next: " + ", ".join(f"<code>{escape(name)}</code>" for name in self.ask))
        listed = "".join(f"<li>{item}</li>" for item in items)
        caution = f"<p><em>{escape(CAUTION)}</em></p>" if self.people else ""
        return f"<p><strong>{escape(self.title)}</strong></p><ul>{listed}</ul>{caution}"

    def _notes(self) -> list[str]:
        shown = list(self.notes[:_SHOWN])
        left = len(self.notes) - len(shown)
        return [*shown, f"{counted(left, 'more note')} in .notes."] if left else shown


class Shown:
    """A result that prints as its ``printed`` says, at the prompt and in a notebook.

    A dataclass that says nothing else prints the first line of its docstring and how long its tables are;
    ``about_people`` adds the caution.
    """

    about_people = False

    @property
    def printed(self) -> Printed:
        """What is printed of it."""
        held = {one.name: getattr(self, one.name) for one in fields(self)}  # type: ignore[arg-type]
        told = {name: _size(value) for name, value in held.items()}
        status, note = str(held.get("status", "ok")), held.get("status_note")
        title, *_ = (type(self).__doc__ or type(self).__name__).strip().splitlines()
        return Printed(
            title=title.rstrip("."),
            facts=(
                *(f"{name.replace('_', ' ')}: {size}" for name, size in told.items() if size),
                *((f"status {status}: {note}" if note else f"status {status}",) if status != "ok" else ()),
            ),
            notes=tuple(held.get("notes", ())),
            ask=tuple(f".{name}" for name, size in told.items() if size),
            people=self.about_people,
        )

    def __repr__(self) -> str:
        return self.printed.text

    def _repr_html_(self) -> str:
        return self.printed.html


def _size(value: object) -> str:
    """How much a part of a result holds, in words; nothing for what is no table, study or set of them."""
    if hasattr(value, "iloc"):
        return counted(len(value), "row")  # type: ignore[arg-type]
    if isinstance(value, Mapping):
        return counted(len(value), "table")
    return value.printed.title if isinstance(value, Shown) else ""


def counted(n: int, one: str, many: str = "") -> str:
    """A number with its noun: ``1 rater``, ``1,204 ratings``."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def counts(pairs: Iterable[tuple[int, str]]) -> str:
    """Several numbers with their nouns, those of nothing left out."""
    return ", ".join(counted(n, noun) for n, noun in pairs if n) or "nothing"
