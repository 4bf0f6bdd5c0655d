"""Cut vertices and firm parts against removal and enumeration by brute force."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.csgraph import connected_components, maximum_flow

from mentorstats.calibration.networks.graphs import cut_off, firm_parts, joined, shared


def parts_without(n, edges, gone, weight):
    """Weights of the components that contain a neighbour of the vertex taken away."""
    kept = [(a, b) for a, b in edges if gone not in (a, b)]
    a, b = (np.array(kept, dtype=int).reshape(-1, 2)).T
    part = connected_components(sparse.coo_array((np.ones(len(a)), (a, b)), shape=(n, n)), directed=False)[1]
    near = {b if a == gone else a for a, b in edges if gone in (a, b)}
    return [int(weight[part == number].sum()) for number in {part[vertex] for vertex in near}]


graphs = st.integers(2, 9).flatmap(
    lambda n: st.tuples(
        st.just(n),
        st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(lambda e: e[0] != e[1])),
        st.lists(st.integers(0, 1), min_size=n, max_size=n),
    )
)


@given(graphs)
def test_cut_off_is_what_removal_cuts_off(graph):
    n, edges, weight = graph
    weight = np.array(weight)
    first, second = np.array(edges, dtype=int).reshape(-1, 2).T
    found = cut_off(first, second, np.column_stack([weight, 1 - weight]))
    assert (found[:, 1] == cut_off(first, second, 1 - weight[:, None])[:, 0]).all()
    found = found[:, 0]
    for vertex in range(n):
        pieces = parts_without(n, edges, vertex, weight)
        assert found[vertex] == sum(pieces) - max(pieces, default=0)


def test_a_chain_and_a_ring():
    chain = np.arange(6)
    ones = np.ones((6, 1), dtype=int)
    assert cut_off(chain[:-1], chain[1:], ones).ravel().tolist() == [0, 1, 2, 2, 1, 0]
    assert not cut_off(chain, (chain + 1) % 6, ones).any()


def test_a_long_chain_needs_no_deep_stack():
    chain = np.arange(50_000)
    found = cut_off(chain[:-1], chain[1:], np.ones((50_000, 1), dtype=int))
    assert found.max() == 24_999


def test_no_edges():
    none = np.empty(0, dtype=int)
    assert cut_off(none, none, np.ones((3, 1), dtype=int)).ravel().tolist() == [0, 0, 0]
    assert len(cut_off(none, none, none.reshape(0, 1))) == 0
    assert joined(none, [none], 3).tolist() == [0, 1, 2]
    assert joined(none, [], 0).tolist() == []
    assert firm_parts(shared(none, none, 2), 1).tolist() == [0, 1]


def test_joined_by_either_kind_of_thing_and_not_by_minus_one():
    rater = np.array([0, 1, 2, 3])
    lessons, sites = np.array([0, 0, -1, -1]), np.array([0, 1, 1, 2])
    assert joined(rater, [lessons], 4).tolist() == [0, 0, 1, 2]
    assert joined(rater, [lessons, sites], 4).tolist() == [0, 0, 0, 1]


def test_a_lesson_is_shared_once_however_many_raters_it_has():
    rater, lesson = np.array([0, 1, 2, 0, 1, 3]), np.array([0, 0, 0, 1, 1, 2])
    both = shared(rater, lesson, 4).toarray()
    assert both == pytest.approx(both.T)
    assert both.sum(axis=1) == pytest.approx([2, 2, 1, 0])
    assert both[0, 1] == 1.5


def holds(weights, members, least):
    """Whether every cut of these vertices on their own weighs enough."""
    inside = list(members)
    for size in range(1, len(inside) // 2 + 1):
        for side in combinations(inside, size):
            rest = [vertex for vertex in inside if vertex not in side]
            if weights[np.ix_(side, rest)].sum() < least:
                return False
    return True


def largest_parts(weights, least):
    """Every set that holds and lies in no larger one."""
    n = len(weights)
    found = []
    for size in range(n, 0, -1):
        for members in combinations(range(n), size):
            if not any(set(members) <= each for each in found) and holds(weights, members, least):
                found.append(set(members))
    return sorted(map(sorted, found))


@given(st.integers(1, 6), st.data(), st.integers(1, 6))
def test_firm_parts_are_the_largest_sets_that_no_thin_cut_divides(n, data, least):
    weights = np.zeros((n, n))
    for a, b in combinations(range(n), 2):
        weights[a, b] = weights[b, a] = data.draw(st.integers(0, 4))
    found = firm_parts(sparse.csr_array(weights), least)
    by_part = sorted([np.flatnonzero(found == number).tolist() for number in range(found.max() + 1)])
    assert by_part == largest_parts(weights, least)


def test_a_firm_part_of_many_carries_the_flow_between_any_two():
    rng = np.random.default_rng(5)
    whole = np.triu(rng.integers(0, 4, (40, 40)) * (rng.random((40, 40)) < 0.25), 1)
    whole[:20, 20:] *= rng.random((20, 20)) < 0.02
    weights = sparse.csr_array((whole + whole.T).astype(float))
    found = firm_parts(weights, 5)
    assert found.max() > 0
    for number in range(found.max() + 1):
        members = np.flatnonzero(found == number)
        flows = sparse.csr_array(weights[members][:, members]).astype(np.int32)
        for other in range(1, len(members)):
            assert maximum_flow(flows, 0, other).flow_value >= 5
