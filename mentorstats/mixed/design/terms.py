"""How a model is declared: products and splines among the fixed terms, grouping factors by columns."""

from dataclasses import dataclass

from mentorstats.entry import entry
from mentorstats.errors import ModelError


@dataclass(frozen=True, slots=True)
class Product:
    """Fixed terms and all their joint effects."""

    of: tuple[str, ...]

    @property
    def name(self) -> str:
        """Name of the joint effect."""
        return " × ".join(self.of)


@dataclass(frozen=True, slots=True)
class Spline:
    """A smooth curve over one numeric column."""

    of: str
    df: int

    @property
    def name(self) -> str:
        """Name of the curve."""
        return f"curve of {self.of}"


@dataclass(frozen=True, slots=True)
class Grouping:
    """One grouping factor and what varies between its members."""

    columns: tuple[str, ...]
    slopes: tuple[str, ...] = ()
    within: str | None = None
    inside: str | None = None
    correlated: bool = True

    @property
    def name(self) -> str:
        """Name of the component: × for a crossing, "in" for a nesting."""
        crossing = " × ".join(self.columns)
        return f"{crossing} in {self.inside}" if self.inside else crossing

    @property
    def keys(self) -> tuple[str, ...]:
        """Columns whose values together tell the members apart."""
        return (*self.columns, self.inside) if self.inside else self.columns

    @property
    def used(self) -> tuple[str, ...]:
        """All columns that the grouping reads."""
        return (*self.keys, *self.slopes, *((self.within,) if self.within else ()))


FixedTerm = str | Product | Spline


@entry()
def product(*columns: str) -> Product:
    """Let the effect of each column depend on the others; brings the columns' own effects too.

    Parameters
    ----------
    columns
        Two or more column names.

    Raises
    ------
    ModelError
        With fewer than two names, or one named twice.

    Examples
    --------
    >>> product("week", "cohort").name
    'week × cohort'
    """
    if len(columns) < 2 or len(set(columns)) < len(columns):
        raise ModelError(
            f"product of {', '.join(map(repr, columns)) or 'nothing'}",
            remedy="Name two or more different columns.",
        )
    return Product(columns)


@entry()
def spline(column: str, *, df: int = 3) -> Spline:
    """Let the response follow a natural cubic spline over a numeric column.

    Knots stand at equally spaced quantiles, the outermost at the ends of the data, beyond which the
    curve is straight [hastie_2009].

    Parameters
    ----------
    column
        A numeric column.
    df
        Number of coefficients, at least 2.

    Raises
    ------
    ModelError
        When ``df`` is below 2.
    """
    if df < 2:
        raise ModelError(f"spline of {column!r} with df={df}", allowed="df of 2 or more")
    return Spline(column, df)


@entry()
def by(
    *columns: str,
    slope: str | tuple[str, ...] | list[str] = (),
    within: str | None = None,
    inside: str | None = None,
    correlated: bool = True,
) -> Grouping:
    """Group the rows by one column, or by a crossing of several, each member with effects of its own.

    Parameters
    ----------
    columns
        The grouping column; several make their crossing.
    slope
        One or several numeric columns whose effect differs between members.
    within
        A column such as the role of the rater: each member has one effect for each of its values,
        and these are correlated. Not together with ``slope``.
    inside
        A column that the members are nested in, when their codes repeat from one to the next.
    correlated
        Whether intercept and slopes of a member may be correlated.

    Raises
    ------
    ModelError
        When no column is named, one is named twice, or ``slope`` and ``within`` are both given.

    Examples
    --------
    >>> by("rater", "criterion").name
    'rater × criterion'
    >>> by("rater", inside="lesson").name
    'rater in lesson'
    """
    slopes = (slope,) if isinstance(slope, str) else tuple(slope)
    grouping = Grouping(columns, slopes, within, inside, correlated)
    if not columns:
        raise ModelError(
            "a grouping without a column", remedy="Name the column that tells the members apart."
        )
    if len(set(grouping.used)) < len(grouping.used):
        raise ModelError(f"grouping {grouping.name!r} names a column twice")
    if slopes and within:
        raise ModelError(
            f"grouping {grouping.name!r} has both slope and within", remedy="Make two groupings of them."
        )
    return grouping
