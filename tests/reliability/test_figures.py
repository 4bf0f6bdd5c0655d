"""The picture of components shows the shares of its study; that of plans is tested with its section."""

import numpy as np
import pandas as pd
import pytest
from drawn import held, labels

from mentorstats.reliability import figures, g_study


def test_components_with_their_intervals():
    rng = np.random.default_rng(4)
    person, rater = (each.ravel() for each in np.meshgrid(range(20), range(4)))
    score = rng.normal(size=20)[person] + rng.normal(size=80)
    frame = pd.DataFrame({"person": person, "rater": rater, "score": score})
    study = g_study(frame, object="person", facets="rater", score="score")
    axes = held(figures.components, study)
    assert labels(axes) == list(study.components.index)
    assert [bar.get_width() for bar in axes.patches] == pytest.approx(study.components["share"].tolist())
    known = study.components.dropna(subset=["share_low", "share_high"])
    lows = [segment[0][0] for segment in axes.collections[0].get_segments()]
    assert lows == pytest.approx(known["share_low"].tolist())
