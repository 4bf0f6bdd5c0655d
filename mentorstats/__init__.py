"""Agreement, growth and programme-level reports from teacher-placement records.

``load`` turns a folder of exports into checked tables; ``mixed``, ``agreement``, ``key_scores``,
``reliability`` and ``calibration`` estimate; the scripts in ``analyses`` write reports; ``cite``
gives the references of a result. Everything is imported on first use, so that
``import mentorstats`` costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from mentorstats import agreement, calibration, key_scores, mixed, records, reliability
    from mentorstats.records import Records, load
    from mentorstats.sources import cite

__all__ = [
    "Records",
    "agreement",
    "calibration",
    "cite",
    "key_scores",
    "load",
    "mixed",
    "records",
    "reliability",
]

_HOME = {
    "Records": "mentorstats.records",
    "cite": "mentorstats.sources",
    "load": "mentorstats.records",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    if name in __all__:
        return import_module(f"mentorstats.{name}")
    raise AttributeError(f"module 'mentorstats' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
