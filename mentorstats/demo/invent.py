"""Draw a whole invented programme: plan, effects, scores, clean tables and the truth."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from mentorstats.demo import frames, key_scores, plan, practice, ratings, truth
from mentorstats.demo.effects import Effects
from mentorstats.demo.rubric import hearthside

SEED = 20260901


@dataclass(frozen=True, slots=True)
class Programme:
    """An invented programme: clean tables, as the dictionary describes them, and what is true of it."""

    seed: int
    placements: pd.DataFrame
    observations: pd.DataFrame
    ratings: pd.DataFrame
    rubrics: pd.DataFrame
    raters: pd.DataFrame
    key_ratings: pd.DataFrame
    teaching_load: pd.DataFrame
    questions: pd.DataFrame
    coteaching: pd.DataFrame
    tutoring: pd.DataFrame
    orientation: pd.DataFrame
    truth: truth.Truth


def programme(seed: int = SEED, *, effects: Effects | None = None) -> Programme:
    """Invent a programme of three cycles, five sites and 180 candidates.

    Parameters
    ----------
    seed
        Of everything drawn; the same seed and library versions give the same programme.
    effects
        Sizes of the planted effects; ``Effects()`` unless given.

    Raises
    ------
    ArgumentError
        When ``effects`` plants more raters than serve in every cycle.
    """
    sizes = effects or Effects()
    rubric = hearthside()
    chance = [np.random.default_rng(part) for part in np.random.SeedSequence(seed).spawn(9)]
    planned = plan.draw(chance[0], chance[8])
    codes = frames.draw_codes(planned, chance[1])
    drawn = ratings.draw(planned, rubric.has(), rubric.reworded(), sizes, chance[2])
    version = np.array([list(rubric.versions).index(name) for name in frames.VERSIONS])
    scores = ratings.rate(planned, drawn, version, sizes, chance[3])
    recorded = key_scores.draw(planned, codes, rubric, chance[7])
    placed = frames.placements(planned, codes, chance[4])
    visited = frames.observations(planned, codes, chance[5])
    # A seed of its own: these tables take nothing from the chances of the others.
    practised = practice.draw(planned, placed, visited, np.random.SeedSequence([seed, 2]))
    tables = {
        "placements": placed,
        "observations": visited,
        "ratings": frames.ratings(planned, codes, scores, rubric),
        "rubrics": rubric.table,
        "raters": frames.raters(planned, codes, chance[6]),
        "key_ratings": recorded.table,
        **practised.tables,
    }
    return Programme(
        seed=seed,
        **{name: frames.conform(frame, name) for name, frame in tables.items()},
        truth=truth.gather(planned, codes, drawn, scores, sizes, rubric, recorded.planted, practised.planted),
    )
