"""The fewest links that join networks, against sets merged pair by pair."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mentorstats.calibration.networks.extra_scores import fewest_links, networks
from mentorstats.errors import ArgumentError

PAIRS = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 14)), min_size=1, max_size=25)


def coded(pairs):
    rater, rated = np.array(pairs).T
    return np.unique(rater, return_inverse=True)[1], np.unique(rated, return_inverse=True)[1]


def parts(nodes, edges):
    """Connected parts, by merging the sets of the two ends of each edge."""
    sets = [{node} for node in nodes]
    for ends in edges:
        touched = [part for part in sets if part & set(ends)]
        sets = [part for part in sets if not part & set(ends)] + [set().union(*touched)]
    return sets


def met(rater, rated):
    """Nodes and edges of the graph of raters and rated."""
    edges = [(("rater", int(a)), ("rated", int(b))) for a, b in zip(rater, rated, strict=True)]
    return {node for edge in edges for node in edge}, edges


@given(pairs=PAIRS)
@settings(max_examples=150, deadline=None)
def test_networks_are_the_connected_parts(pairs):
    rater, rated = coded(pairs)
    of_rater, of_rated = networks(rater, rated)
    assert (of_rater[rater] == of_rated[rated]).all()
    found = parts(*met(rater, rated))
    assert of_rater.max() + 1 == len(found)
    for part in found:
        assert len({of_rater[code] for kind, code in part if kind == "rater"}) == 1
    lessons = np.bincount(of_rater[rater])
    assert (np.diff(lessons) <= 0).all()


@given(pairs=PAIRS)
@settings(max_examples=150, deadline=None)
def test_links_join_all_and_one_fewer_would_not(pairs):
    rater, rated = coded(pairs)
    found = fewest_links(rater, rated)
    k = len(parts(*met(rater, rated)))
    assert (found.n_networks, found.n_joining, found.n_closing) == (k, k - 1, int(k > 1))
    joining = ~found.closing
    joined = met(np.append(rater, found.rater[joining]), np.append(rated, found.rated[joining]))
    assert len(parts(*joined)) == 1
    assert len(set(found.rater)) == len(found.rater)
    of_rater, of_rated = networks(rater, rated)
    lessons = np.bincount(rater)
    for a, b, here, there in zip(found.rater, found.rated, found.network, found.other_network, strict=True):
        assert (of_rater[a], of_rated[b]) == (here, there)
        assert here != there
        assert lessons[a] == lessons[of_rater == here].max()


@given(pairs=PAIRS)
@settings(max_examples=150, deadline=None)
def test_no_single_link_holds_a_closed_ring_together(pairs):
    """Networks as nodes, links as edges: no edge is a bridge, and no rater gives two."""
    found = fewest_links(*coded(pairs))
    for lost in range(len(found.rater)):
        ends = list(zip(found.network, found.other_network, strict=True))
        left = ends[:lost] + ends[lost + 1 :]
        assert len(parts(range(found.n_networks), left)) == 1


def test_stars_by_hand():
    """Three raters, each with candidates of their own: rater 1 has most lessons, then 0, then 2."""
    rater = [0, 0, 0, 1, 1, 1, 1, 2]
    rated = [0, 1, 1, 2, 3, 3, 3, 4]
    found = fewest_links(rater, rated, price=40)
    assert list(zip(found.rater, found.rated, strict=True)) == [(1, 1), (0, 4), (2, 3)]
    assert list(found.closing) == [False, False, True]
    assert found.cost[~found.closing].sum() == 80


def test_one_network_and_none_need_no_link():
    assert fewest_links([0, 1], [0, 0]).n_networks == 1
    assert len(fewest_links([0, 1], [0, 0]).rater) == 0
    assert fewest_links([], []).n_networks == 0


def test_networks_that_others_join():
    """Four stars, of which others join the first two and the last two: one link, one to close."""
    rater, rated = [0, 0, 1, 2, 2, 2, 3], [0, 1, 2, 3, 4, 4, 5]
    found = fewest_links(rater, rated, network=[7, 7, 3, 3])
    assert found.n_networks == 2
    assert list(zip(found.rater, found.rated, strict=True)) == [(2, 0), (0, 4)]
    own = networks(rater, rated)[0]
    for field in ("rater", "rated", "network"):
        one, other = (getattr(fewest_links(rater, rated, network=net), field) for net in (own, None))
        np.testing.assert_array_equal(one, other)
    with pytest.raises(ArgumentError, match="two networks"):
        fewest_links([0, 1], [0, 0], network=[0, 1])
    with pytest.raises(ArgumentError, match="one for each rater"):
        fewest_links([0, 1], [0, 0], network=[0])


@pytest.mark.parametrize(
    ("rater", "rated", "price", "words"),
    [
        ([0, 1], [0], 1, "as many"),
        ([0, 2], [0, 0], 1, "without gaps"),
        ([0, -1], [0, 0], 1, "without gaps"),
        ([0.5], [0], 1, "without gaps"),
        ([0], [0], -1, "from 0"),
    ],
)
def test_what_is_wrongly_asked(rater, rated, price, words):
    with pytest.raises(ArgumentError, match=words):
        fewest_links(rater, rated, price=price)
