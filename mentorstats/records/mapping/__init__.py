"""``mapping.toml``: which file feeds which table, and how its words become ours.

``values`` reads single values strictly, ``recipes`` says how a field is made of cells, ``skips`` which rows
are no records, ``identity_block`` whether people become codes, ``blocks`` puts them together.
"""

from mentorstats.records.mapping.blocks import FILE_NAME, Plan, Scale, Source, read
from mentorstats.records.mapping.identity_block import Identities
from mentorstats.records.mapping.recipes import Recipe
from mentorstats.records.mapping.skips import Skip
from mentorstats.records.mapping.values import ISO

__all__ = ["FILE_NAME", "ISO", "Identities", "Plan", "Recipe", "Scale", "Skip", "Source", "read"]
