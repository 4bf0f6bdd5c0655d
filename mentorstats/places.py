"""The only way to data_dictionary/ and analyses/, in a wheel as in a checkout."""

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def _place(name: str) -> Path:
    inside = _HERE / name
    return inside if inside.is_dir() else _HERE.parent / name


def data_dictionary() -> Path:
    """Folder of the descriptors, vocabularies and policies."""
    return _place("data_dictionary")


def analyses() -> Path:
    """Folder of the scripted analyses."""
    return _place("analyses")
