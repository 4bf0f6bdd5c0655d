"""The one bibliography, by the keys that docstrings, policies and results cite, and what a result cites."""

from mentorstats.sources.bibliography import KINDS, SOURCES, Bibliography, Source, read, source
from mentorstats.sources.references import cite, keys

__all__ = ["KINDS", "SOURCES", "Bibliography", "Source", "cite", "keys", "read", "source"]
