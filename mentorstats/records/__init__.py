"""Exports of a programme to one checked long table.

``load`` reads a folder; `Records` holds the tables, ``problems`` and ``sources``, and makes the long
table; ``reload`` reads a saved store; ``read_table`` reads any single file as text.
"""

from mentorstats.records.loading import Records, load
from mentorstats.records.read import read_table
from mentorstats.records.store import reload

__all__ = ["Records", "load", "read_table", "reload"]
