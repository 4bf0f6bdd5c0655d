"""A programme's own TOML file, read so that whatever is wrong with it is one message."""

import stat
import tomllib
from pathlib import Path
from typing import Any

from mentorstats.errors import MentorstatsError

LARGEST = 100_000  # bytes; what people write is smaller by far
DOTS = 1_000  # in one line, as many as parts of a key
LONGEST = 60  # characters of a value that a message repeats


def read(path: Path, error: type[MentorstatsError]) -> dict[str, Any] | None:
    """Return what the file holds, or nothing where there is none.

    Raises
    ------
    MentorstatsError
        Of the kind given: it is no file, cannot be opened, is too large, is not UTF-8 or not legal TOML.
    """
    where = str(path)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise error("is not a file", where=where, allowed="a text file", remedy="Rename or remove it.")
        if found.st_size > LARGEST:
            raise error(
                f"has {found.st_size:,} bytes",
                where=where,
                allowed=f"up to {LARGEST:,} bytes",
                remedy="Keep only settings in it.",
            )
        content = path.read_bytes()
    except FileNotFoundError:
        if path.is_symlink():
            remedy = "Correct or remove the link."
            raise error("is a link to a file that does not exist", where=where, remedy=remedy) from None
        return None
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        remedy = "Make the file readable for your account."
        raise error(f"cannot be read: {why}", where=where, remedy=remedy) from fault
    return _parsed(content, where, error)


def _parsed(content: bytes, where: str, error: type[MentorstatsError]) -> dict[str, Any]:
    try:
        text = content.decode("utf-8-sig")
        if max(line.count(".") for line in text.split("\n")) > DOTS:  # the parser's time is their square
            raise RecursionError
        return tomllib.loads(text)
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        raise error(
            f"line {line} is not UTF-8", where=where, remedy="Save the file with the encoding UTF-8."
        ) from fault
    except RecursionError:
        raise error("is nested too deeply", where=where, remedy="Write plain keys and values.") from None
    except ValueError as fault:  # also numbers of thousands of digits, which Python refuses
        raise error(
            f"is not legal TOML: {shown_text(str(fault), 200)}", where=where, remedy="Correct that place."
        ) from fault


def shown(value: object) -> str:
    """A value as a message repeats it: short, on one line, with control characters escaped."""
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 4 * LONGEST:
        return "a number of very many digits"
    if isinstance(value, bool):
        return str(value).lower()
    return shown_text(repr(value) if isinstance(value, str) else str(value))


def shown_text(text: str, longest: int = LONGEST) -> str:
    """Text cut to a length, with what cannot be printed escaped."""
    plain = "".join(c if c.isprintable() else repr(c)[1:-1] for c in text[: longest + 1])
    return text_cut(plain, longest)


def text_cut(text: str, longest: int) -> str:
    """Text of at most that many characters."""
    return text if len(text) <= longest else f"{text[: longest - 2]} …"


def is_text(value: object) -> bool:
    """Whether a value is text that can be printed: not blank, no control character but line ends and tabs."""
    if not isinstance(value, str) or not value.strip():
        return False
    return all(c.isprintable() or c in "\n\r\t" for c in value)
