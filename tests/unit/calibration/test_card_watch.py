"""A new card averaged from photos, and a card watched for fading."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import kendalltau

from calibration.card_picture import draw_card_watch
from calibration.card_watch import CardFit, CardPhoto, average_card, watch_card

START = datetime(2026, 3, 1, tzinfo=UTC)


def photos(rng, count, shift=None):
    true = {f"P{i}": rng.uniform([20, -40, -40], [90, 40, 40]) for i in range(24)}
    found = []
    for k in range(count):
        move = shift if shift is not None and k == count - 1 else 0.0
        labs = {i: lab + rng.normal(0, 0.5, 3) + move for i, lab in true.items()}
        found.append(CardPhoto(f"{k}.jpg", labs))
    return true, found


def fits(values):
    return [CardFit(START + timedelta(days=3 * i), v) for i, v in enumerate(values)]


def test_the_mean_and_its_covariance_are_honest():
    true, found = photos(np.random.default_rng(1), 6)

    card = average_card(found)

    off = np.array([card.labs[i] - true[i] for i in true])
    told = np.array([np.diag(card.covs[i]) for i in true])
    assert np.sqrt((off**2).mean()) == pytest.approx(np.sqrt(told.mean()), rel=0.4)
    assert card.left_out == ()


def test_a_photo_that_disagrees_is_left_out_and_named():
    _, found = photos(np.random.default_rng(2), 5, shift=np.array([0.0, 6.0, -5.0]))

    assert average_card(found).left_out == ("4.jpg",)


def test_too_few_or_partial_photos_are_refused():
    _, found = photos(np.random.default_rng(3), 4)

    with pytest.raises(ValueError, match="2 photos of the new card are too few"):
        average_card(found[:2])
    cut = CardPhoto("cut.jpg", dict(list(found[0].labs.items())[:-1]))
    with pytest.raises(ValueError, match=r"cut.jpg does not show all patches"):
        average_card([*found, cut])


def test_a_fading_card_is_told_and_a_steady_one_is_not():
    rng = np.random.default_rng(4)

    fading = watch_card(fits(np.linspace(0.6, 1.8, 30) + rng.normal(0, 0.2, 30)))
    steady = watch_card(fits(0.7 + rng.normal(0, 0.2, 30)))

    assert (fading.state, steady.state) == ("fading", "steady")
    assert "print and measure a new one" in fading.sentence
    assert watch_card(fits([0.6] * 5)).state == "too_few"


def test_the_trend_test_agrees_with_the_library():
    x = np.random.default_rng(5).normal(0, 1, 60) + np.linspace(0, 0.8, 60)

    theirs = kendalltau(np.arange(60), x, alternative="greater", method="asymptotic").pvalue
    assert watch_card(fits(x)).chance == pytest.approx(theirs, rel=0.1)


@pytest.mark.parametrize(("days", "dates"), [(0, 1), (30, 2)])
def test_dates_under_the_picture_never_run_into_each_other(days, dates):
    """Photos of one morning share one date."""
    seen = [CardFit(START + timedelta(days=i * days), 0.4) for i in range(3)]
    drawn = draw_card_watch(seen, watch_card(seen), "Bench")

    assert drawn.count(" 2026<") == dates
