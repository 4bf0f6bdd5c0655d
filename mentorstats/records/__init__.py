"""Exports of a programme to one checked long table.

``read`` (delimited, workbook, parquet) gives text cells with their row numbers, ``mapping`` and
``gather`` say which sheet feeds which table, ``reshape`` and ``cast`` turn cells into typed rows,
``keys``, ``levels`` and ``dates`` hold them to the dictionary, ``frames``, ``long`` and ``store``
hand them on. ``load`` is the whole way.
"""

from mentorstats.records.loading import load
from mentorstats.records.tables import Records, reload

__all__ = ["Records", "load", "reload"]
