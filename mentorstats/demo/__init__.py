"""An invented programme with planted, known effects: clean tables in memory, or exports in a folder."""

from mentorstats.demo.effects import Effects
from mentorstats.demo.folder import TRUTH, note, write
from mentorstats.demo.invent import SEED, Programme, programme
from mentorstats.demo.truth import Truth

__all__ = ["SEED", "TRUTH", "Effects", "Programme", "Truth", "note", "programme", "write"]
