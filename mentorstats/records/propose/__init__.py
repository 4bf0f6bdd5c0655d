"""A first ``mapping.toml`` from the exports themselves, with a confidence for each guess; never applied.

The way through the room: ``grids`` opens files, ``headings`` finds where these stand, ``rows`` what are no
records, ``columns`` and ``days`` what a column holds; ``evidence`` and ``assign`` match columns to fields by
``words`` and cells, ``wide`` finds blocks of criteria; ``tables`` decides what a sheet feeds, ``keys``,
``raters``, ``levels`` and ``scales`` what it points to and means; ``drafting`` makes ``drafts`` of it,
``writing`` the file, and ``previous`` keeps what an older mapping knew.
"""

from mentorstats.records.propose.propose import Proposal, Trial, propose, tried

__all__ = ["Proposal", "Trial", "propose", "tried"]
