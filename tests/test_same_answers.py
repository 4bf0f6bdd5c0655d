"""An index, the order of rows and the way codes are stored change no result of any public function."""

import dataclasses
from collections.abc import Mapping

import degenerate
import numpy as np
import pandas as pd
import pytest

CLOSE = 1e-9  # the same sums
NEAR = 1e-4  # fits that start from another order of members
TABLES = ("ratings", "long", "scores", "key_ratings", "data", "pairs", "rows", "lessons", "placements")
RARE = 0.1  # calls taken less often cost seconds

# What depends on the order of rows by its own account: results with a row for each row, draws of clusters
# and of members in the order in which they come.
BY_ROW = {
    "agreement.double_scored",
    "agreement.stacked",
    "agreement.likeness",
    "agreement.inverse_probability_weights",
    "calibration.is_own_mentor",
    "mixed.Fit.predict",
}


def same_index(frame):
    return frame.set_axis([7] * len(frame))


def several_index(frame):
    return frame.set_axis(pd.MultiIndex.from_product([["x"], range(len(frame))], names=["rater", "level"]))


def named_index(frame):
    return frame.rename_axis(frame.columns[0])


def shuffled(frame):
    return frame.sample(frac=1, random_state=4)


def as_objects(frame):
    return frame.astype(dict.fromkeys(_texts(frame), "object"))


def as_categories(frame):
    return frame.astype(dict.fromkeys(_texts(frame), "category"))


def as_python_text(frame):
    return frame.astype({name: pd.StringDtype("python") for name in _texts(frame)})


def unsigned(frame):
    return frame.astype(dict.fromkeys(_whole(frame), "uint8"))


def small(frame):
    return frame.astype(dict.fromkeys(_whole(frame), "int8"))


def as_floats(frame):
    return frame.astype(dict.fromkeys(_whole(frame), "float64"))


def from_arrow(frame):
    return frame.astype(dict.fromkeys(_whole(frame), "int64[pyarrow]"))


def other_columns(frame):
    return frame[frame.columns[::-1]]


def _texts(frame):
    return [name for name in frame if pd.api.types.is_string_dtype(frame[name].dtype)]


def _whole(frame):
    whole = pd.api.types.is_integer_dtype
    return [name for name in frame if whole(frame[name].dtype) and frame[name].between(0, 120).all()]


CHANGES = (
    same_index,
    several_index,
    named_index,
    shuffled,
    as_objects,
    as_categories,
    as_python_text,
    unsigned,
    small,
    as_floats,
    from_arrow,
    other_columns,
)
NAMES = [
    name
    for name, call in degenerate.calls().items()
    if call.often > RARE
    and any(isinstance(call.given.get(one), pd.DataFrame) for one in TABLES)
    and not name.startswith("mixed.Fit.")
]


def parts(found):
    """Every table and number in a result."""
    if isinstance(found, pd.DataFrame | pd.Series | np.ndarray | float | int):
        yield found
    elif isinstance(found, Mapping):
        for key in sorted(found, key=str):
            yield from parts(found[key])
    elif hasattr(found, "components") and hasattr(found, "model"):  # a fit
        yield from (found.components, found.coefficients, found.log_likelihood)
    elif hasattr(found, "fit"):
        yield from parts(found.fit)
    elif dataclasses.is_dataclass(found):
        for field in dataclasses.fields(found):
            if field.name not in ("cells", "told", "estimated", "design", "studies"):
                yield from parts(getattr(found, field.name))


def _is_number(dtype):
    return pd.api.types.is_numeric_dtype(dtype) and not pd.api.types.is_bool_dtype(dtype)


def plain(part, *, ordered):
    """A table as texts and numbers, its rows in the order of the texts unless that order counts."""
    frame = pd.DataFrame(part) if isinstance(part, np.ndarray | pd.Series) else part
    if not isinstance(frame, pd.DataFrame):
        return np.zeros((1, 0), dtype=str), np.array([[float(part)]])
    frame = frame.reset_index(names=[f"_{level}" for level in range(frame.index.nlevels)])
    if ordered:  # the index is that of the table that was given
        frame = frame.drop(columns=[name for name in frame if str(name).startswith("_")])
    numeric = [name for name in frame if _is_number(frame[name].dtype)]
    texts = (
        frame.drop(columns=numeric).astype("str").sort_index(axis=1, key=lambda names: names.astype("str"))
    )
    place = np.arange(len(frame)) if ordered or not texts.shape[1] else np.lexsort(texts.to_numpy().T)
    numbers = frame[sorted(numeric, key=str)].to_numpy(dtype=float, na_value=np.nan)
    return texts.to_numpy(dtype=str)[place], numbers[place]


SLOW = {"calibration.base_fit"}  # five seconds a call: a third of the changes


@pytest.mark.parametrize("name", NAMES)
def test_nothing_but_the_values_counts(name):
    call = degenerate.calls()[name]
    argument = next(one for one in TABLES if isinstance(call.given.get(one), pd.DataFrame))
    before = list(parts(call.function(**call.given)))
    assert before
    for change in CHANGES[::4] if name in SLOW else CHANGES:
        if change is shuffled and name in BY_ROW:
            continue
        spoilt = change(call.given[argument])
        after = list(parts(call.function(**call.given | {argument: spoilt})))
        assert len(after) == len(before), change.__name__
        for one, other in zip(before, after, strict=True):
            if change is shuffled and np.ndim(one) and len(one) == len(spoilt):  # a value for each row
                continue
            texts, numbers = plain(one, ordered=name in BY_ROW)
            found_texts, found = plain(other, ordered=name in BY_ROW)
            np.testing.assert_array_equal(found_texts, texts, err_msg=change.__name__)
            close = NEAR if change is shuffled else CLOSE
            np.testing.assert_allclose(found, numbers, rtol=close, atol=close, err_msg=change.__name__)
