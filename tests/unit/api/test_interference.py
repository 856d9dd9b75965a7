"""What one pad says about another."""

import pytest

from api.interference import Band, carbonate_alkalinity, interferences


def test_chlorine_above_ten_puts_ph_and_alkalinity_in_doubt():
    found = interferences(
        {
            "free_chlorine": Band(12, 10, 14),
            "ph": Band(8.2, 8.0, 8.4),
            "total_alkalinity": Band(90, 70, 110),
            "calcium_hardness": Band(50, 40, 60),
        }
    )

    assert found == {"ph": ("high_chlorine",), "total_alkalinity": ("high_chlorine",)}


def test_usual_chlorine_puts_nothing_in_doubt():
    usual = {"free_chlorine": Band(4, 3, 5), "total_chlorine": Band(4.4, 3, 6)}

    assert interferences({**usual, "ph": Band(7.4, 7.2, 7.6)}) == {}
    assert interferences({"ph": Band(7.4, 7.2, 7.6)}) == {}
    assert interferences({}) == {}


@pytest.mark.parametrize(
    ("free", "total", "reason"),
    [
        (Band(5, 4, 6), Band(2, 1, 3), "total_below_free"),
        (Band(0.1, 0, 0.5), Band(10, 8, None), "maybe_bleached"),
        (Band(10, 8, None), Band(0.2, 0, 0.6), "maybe_bleached"),
    ],
)
def test_chlorine_pads_that_contradict_each_other_are_both_doubted(free, total, reason):
    found = interferences({"free_chlorine": free, "total_chlorine": total})

    assert found["free_chlorine"] == found["total_chlorine"] == (reason,)


def test_bands_that_touch_do_not_contradict():
    assert interferences({"free_chlorine": Band(4, 3, 5), "total_chlorine": Band(3, 2, 3.5)}) == {}


def test_the_cyanurate_share_is_derived_with_its_own_band():
    derived = carbonate_alkalinity(
        {"total_alkalinity": Band(100, 80, 120), "cyanuric_acid": Band(60, 30, 90)}
    )

    assert derived is not None
    assert derived.value == pytest.approx(80)
    assert derived.low == pytest.approx(80 - (20**2 + 10**2) ** 0.5)
    assert derived.high == pytest.approx(80 + (20**2 + 10**2) ** 0.5)


@pytest.mark.parametrize(
    "bands",
    [
        {},
        {"total_alkalinity": Band(100, 80, 120)},
        {"total_alkalinity": Band(240, 200, None), "cyanuric_acid": Band(60, 30, 90)},
    ],
)
def test_nothing_is_derived_from_half_of_what_is_needed(bands):
    assert carbonate_alkalinity(bands) is None
