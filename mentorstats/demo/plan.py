"""Who is placed where, who watches which lesson, and when: the invented programme before any rating.

People are whole numbers here. Sites 0 to 3 exchange supervisors; the last site keeps to its own, so
that its raters share no candidate with the others.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Ints = NDArray[np.intp]

CYCLES = 3
SITES = 5
FAR_SITE = SITES - 1
PLACES = 12  # candidates a site and cycle
WEEKS = 14
EARLY_END = 8  # weeks of a placement that ends early
ENDED_EARLY = 3  # such placements a cycle
CAREER_CHANGERS = 0.45  # share of candidates
SCORED_BY = {"both": 0.30, "mentor": 0.38, "supervisor": 0.32}

# Who holds which supervisor's post (three a site) in each cycle; most stay, some are replaced.
_POSTS = np.array(
    [
        [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 16, 17, 18],
        [0, 1, 12, 3, 4, 5, 6, 7, 13, 9, 10, 11, 16, 17, 19],
        [0, 1, 14, 3, 4, 5, 6, 7, 15, 9, 10, 11, 16, 17, 19],
    ]
)
_LINKED_POSTS = 3 * FAR_SITE
_SUPERVISORS = int(_POSTS.max()) + 1

# Which mentor of how many in turn holds a site's place in each cycle: 2 stay throughout, 5 stay two cycles.
_TURN = np.array(
    [
        [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0],
        [0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1],
        [0, 0, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2],
    ]
)


@dataclass(frozen=True, slots=True)
class Plan:
    """The programme as tables of whole numbers, each indexed from 0.

    Attributes
    ----------
    raters
        role, far (serves the site that shares no rater), cycles (how many they serve in),
        first_cycle.
    placements
        cycle, site, mentor, supervisor (rows of ``raters``), weeks (how long it lasts), career_changer.
    lessons
        placement, week (first = 1), day (0 = Monday).
    forms
        lesson, rater, own_mentor (the rater is the candidate's own mentor).
    """

    raters: pd.DataFrame
    placements: pd.DataFrame
    lessons: pd.DataFrame
    forms: pd.DataFrame


def draw(rng: np.random.Generator, of_people: np.random.Generator) -> Plan:
    """Draw the programme's plan; what candidates bring with them has a source of chance of its own."""
    placements = _placements(rng)
    lessons = _lessons(placements, rng)
    forms = _forms(placements, lessons, rng)
    raters = _raters(placements)
    placements = placements.drop(columns=["post", "turn"])
    changed = of_people.random(len(placements)) < CAREER_CHANGERS
    return Plan(raters, placements.assign(career_changer=changed), lessons, forms)


def _placements(rng: np.random.Generator) -> pd.DataFrame:
    cycle, site, place = (
        axis.ravel() for axis in np.meshgrid(range(CYCLES), range(SITES), range(PLACES), indexing="ij")
    )
    mentor, _ = pd.factorize(site * 100 + place * 3 + _TURN[cycle, place])
    shuffled = rng.permuted(np.tile(np.arange(PLACES), (CYCLES * SITES, 1)), axis=1).ravel()
    post = 3 * site + shuffled // 4
    early = rng.permuted(np.tile(np.arange(SITES * PLACES) < ENDED_EARLY, (CYCLES, 1)), axis=1).ravel()
    return pd.DataFrame(
        {
            "cycle": cycle,
            "site": site,
            "mentor": _SUPERVISORS + mentor,
            "supervisor": _POSTS[cycle, post],
            "weeks": np.where(early, EARLY_END, WEEKS),
            "post": post,
            "turn": shuffled % 4,
        }
    )


def _raters(placements: pd.DataFrame) -> pd.DataFrame:
    served = placements.melt(["cycle"], ["mentor", "supervisor"], value_name="rater")
    by_rater = served.groupby("rater")["cycle"]
    count = int(placements["mentor"].max()) + 1
    far = np.zeros(count, dtype=bool)
    far[placements.loc[placements["site"] == FAR_SITE, ["mentor", "supervisor"]].to_numpy().ravel()] = True
    return pd.DataFrame(
        {
            "role": np.where(np.arange(count) < _SUPERVISORS, "supervisor", "mentor"),
            "far": far,
            "cycles": by_rater.nunique(),
            "first_cycle": by_rater.min(),
        }
    )


def _lessons(placements: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Six to eight lessons a placement, one in each equal part of it; half as many when it ends early."""
    full = rng.choice([6, 7, 8], size=len(placements), p=[0.3, 0.4, 0.3])
    number = np.where(placements["weeks"] < WEEKS, full // 2, full)
    placement = np.repeat(placements.index.to_numpy(), number)
    turn = np.arange(len(placement)) - np.repeat(np.cumsum(number) - number, number)
    weeks = placements["weeks"].to_numpy()[placement]
    moment = (turn + rng.random(len(placement))) * weeks / number[placement]
    return pd.DataFrame(
        {"placement": placement, "week": 1 + moment.astype(int), "day": rng.integers(0, 5, len(placement))}
    )


def _forms(placements: pd.DataFrame, lessons: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    there = placements.loc[lessons["placement"]].reset_index(names="placement")
    scored_by = rng.choice(list(SCORED_BY), size=len(lessons), p=list(SCORED_BY.values()))
    mentored = np.flatnonzero(scored_by != "supervisor")
    supervised = np.flatnonzero(scored_by != "mentor")
    visited, visitor = _second_visits(there, scored_by, rng)
    observed, colleague = _visiting_mentors(there, scored_by, rng)
    lesson = np.concatenate([mentored, supervised, visited, observed])
    rater = np.concatenate(
        [
            there["mentor"].to_numpy()[mentored],
            _supervisor_of(there, lessons["week"].to_numpy())[supervised],
            visitor,
            colleague,
        ]
    )
    own = np.arange(len(lesson)) < len(mentored)
    forms = pd.DataFrame({"lesson": lesson, "rater": rater, "own_mentor": own})
    forms = forms.drop_duplicates(["lesson", "rater"])
    return forms.sort_values(["lesson", "rater"], ignore_index=True)


def _next_post(post: Ints, step: Ints | int) -> Ints:
    """Post that many places on, in a ring of all linked posts or of the far site's three."""
    far = post >= _LINKED_POSTS
    first = np.where(far, _LINKED_POSTS, 0)
    length = np.where(far, _POSTS.shape[1] - _LINKED_POSTS, _LINKED_POSTS)
    after: Ints = first + (post - first + step) % length
    return after


def _supervisor_of(there: pd.DataFrame, week: Ints) -> Ints:
    """Rater of a supervised lesson; every eighth candidate is handed over at mid-placement."""
    post = there["post"].to_numpy()
    handed_over = (there["turn"].to_numpy() == 3) & (post % 2 == 0) & (week > WEEKS // 2)
    supervisor: Ints = _POSTS[there["cycle"].to_numpy(), np.where(handed_over, _next_post(post, 1), post)]
    return supervisor


def _second_visits(
    there: pd.DataFrame, scored_by: NDArray[np.str_], rng: np.random.Generator
) -> tuple[Ints, Ints]:
    """Pick a lesson of three candidates in four, which the next supervisors of a ring watch as well."""
    lesson = _one_a_placement(there, scored_by != "mentor", rng)
    lesson = lesson[there["turn"].to_numpy()[lesson] < 3]
    chosen = there.iloc[lesson]
    post = _next_post(chosen["post"].to_numpy(), 1 + chosen["turn"].to_numpy())
    return lesson, _POSTS[chosen["cycle"].to_numpy(), post]


def _visiting_mentors(
    there: pd.DataFrame, scored_by: NDArray[np.str_], rng: np.random.Generator
) -> tuple[Ints, Ints]:
    """Pick a lesson of every third candidate, which another mentor of the same site and cycle watches."""
    lesson = _one_a_placement(there, scored_by == "supervisor", rng)
    lesson = lesson[there["mentor"].to_numpy()[lesson] % 3 == 0]
    chosen = there.iloc[lesson]
    mentors = there.drop_duplicates(["cycle", "mentor"]).groupby(["cycle", "site"], observed=True)["mentor"]
    in_turn = {key: np.sort(group.to_numpy()) for key, group in mentors}
    colleague = [
        in_turn[cycle, site][(np.searchsorted(in_turn[cycle, site], mentor) + 1) % PLACES]
        for cycle, site, mentor in zip(chosen["cycle"], chosen["site"], chosen["mentor"], strict=True)
    ]
    return lesson, np.array(colleague)


def _one_a_placement(there: pd.DataFrame, rather: NDArray[np.bool_], rng: np.random.Generator) -> Ints:
    """Row of one random lesson a placement, from those marked ``rather`` where it has any."""
    placement = there["placement"].to_numpy()
    order = np.lexsort((rng.random(len(there)), ~rather, placement))
    first = np.r_[True, np.diff(placement[order]) != 0]
    return np.sort(order[first])
