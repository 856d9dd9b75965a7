"""The state as one normal distribution, against sampling and closed forms."""

import numpy as np
import pytest

from dosing.belief import Belief, sigma_points

PRIORS = {"a": (1.0, 0.5), "b": (2.0, 0.2), "c": (0.0, 1.0)}


def test_a_sum_has_the_moments_of_its_parts():
    assert Belief(PRIORS).moments({"a": 1.0, "b": 2.0}) == pytest.approx((5.0, 0.25 + 4 * 0.04))


def test_correcting_a_sum_moves_the_less_sure_part_more():
    belief = Belief(PRIORS)
    belief.correct({"a": 1.0, "b": 1.0}, 4.0, 1e-6)

    assert belief.of("a") + belief.of("b") == pytest.approx(4.0)
    assert belief.of("a") - 1.0 == pytest.approx(0.25 / 0.29)
    assert belief.of("c") == 0.0
    assert belief.moments({"a": 1.0, "b": 1.0})[1] == pytest.approx(1e-6)


def test_a_linear_law_is_carried_exactly_by_both_ways_of_moving():
    bent, followed = Belief(PRIORS), Belief(PRIORS)
    bent.bend(("a", "b"), ("c",), lambda point: (3.0 * point[0] - point[1],), {"c": 0.1})
    followed.follow(("a", "b"), ("c",), (1.0,), ((3.0, -1.0),), {"c": 0.1})

    for belief in (bent, followed):
        assert belief.of("c") == pytest.approx(1.0)
        assert belief.sd("c") ** 2 == pytest.approx(9 * 0.25 + 0.04 + 0.01, rel=1e-3)
        assert belief.cov[0, 2] == pytest.approx(3 * 0.25, rel=1e-3)


def test_a_curved_law_has_the_mean_that_sampling_finds():
    draws = np.random.default_rng(1).normal((1.0, 2.0), (0.5, 0.2), (200_000, 2))
    sampled = np.exp(draws[:, 0]) * draws[:, 1]
    belief = Belief(PRIORS)
    belief.bend(("a", "b"), ("c",), lambda point: (np.exp(point[0]) * point[1],), {})

    assert belief.of("c") == pytest.approx(sampled.mean(), rel=0.02)
    assert belief.sd("c") == pytest.approx(sampled.std(), rel=0.12)


def test_sigma_points_have_the_mean_and_covariance():
    cov = np.array([[0.5, 0.1], [0.1, 0.2]])
    points, _ = sigma_points(np.array([1.0, 2.0]), cov)

    assert points.mean(axis=0) == pytest.approx([1.0, 2.0])
    assert np.cov(points.T, bias=True) == pytest.approx(cov)


def test_sigma_points_stand_a_covariance_without_spread():
    points, _ = sigma_points(np.zeros(2), np.zeros((2, 2)))

    assert np.abs(points).max() < 1e-4


def test_entries_are_added_renewed_and_copied_apart():
    belief = Belief(PRIORS)
    belief.add_entry("d", 4.0, 2.0)
    belief.add_entry("d", 9.0, 9.0)
    twin = belief.copy()
    twin.renew("a", 7.0, 0.1)
    twin.shake("b", 0.3)

    assert belief.of("d") == 4.0
    assert belief.of("a") == 1.0
    assert twin.sd("b") > belief.sd("b")


def test_moving_keeps_what_is_shared():
    belief = Belief(PRIORS)
    belief.move({"a": {"a": 1.0, "c": 2.0}, "b": {"b": 1.0, "c": 1.0}}, {"a": 0.1})

    assert belief.cov[0, 1] == pytest.approx(2.0)
    assert belief.cov == pytest.approx(belief.cov.T)
    assert belief.sd("a") ** 2 == pytest.approx(0.25 + 4.0 + 0.01)


def test_tied_entries_tell_of_each_other():
    belief = Belief(PRIORS)
    belief.tie("a", "b", 0.8)
    belief.correct({"a": 1.0}, 1.5, 1e-9)

    assert belief.of("b") == pytest.approx(2.0 + 0.8 * 0.2)
    assert belief.sd("b") == pytest.approx(0.6 * 0.2)
