"""Crossed random-effects models, linear and ordinal.

The engines: ``terms`` and ``layout`` say what a model's columns are, ``survey`` reads the data once,
``crossproducts`` sums all that a linear model needs of the rows (sums add over chunks; ``chunks``
reads them from Parquet), ``elimination`` factorises (``parts``: unlinked networks apart), ``linear``
and ``ordinal`` give criterion and gradient, ``optimise`` searches, ``degrees`` holds Satterthwaite and
Kenward-Roger, ``joint`` all effects together, ``screen`` what the records cannot tell apart.
``engines`` puts them behind one face.
"""

from mentorstats.mixed.terms import by, product, spline

__all__ = ["by", "product", "spline"]
