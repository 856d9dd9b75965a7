"""What one pad says about another."""

import pytest

from api.interference import Band, carbonate_alkalinity, interferences

OTHERS = {
    "ph": Band(8.2, 8.0, 8.4),
    "total_alkalinity": Band(90, 70, 110),
    "calcium_hardness": Band(50, 40, 60),
}
DOUBTED = {"ph": ("high_chlorine",), "total_alkalinity": ("high_chlorine",)}


@pytest.mark.parametrize(
    ("chances", "doubted"),
    [
        ({"free_chlorine": 0.9}, True),
        ({"free_chlorine": 0.3}, True),
        ({"free_chlorine": 0.2}, False),
        ({"free_chlorine": 0.1, "total_chlorine": 1.0}, False),
        ({"total_chlorine": 0.6}, True),
    ],
)
def test_chlorine_likely_above_ten_puts_ph_and_alkalinity_in_doubt(chances, doubted):
    assert interferences(OTHERS, chances) == (DOUBTED if doubted else {})


def test_where_the_chlorine_pads_contradict_each_other_the_higher_one_counts():
    pair = {"free_chlorine": Band(0.1, 0, 0.5), "total_chlorine": Band(20, 16, None)}

    found = interferences(OTHERS | pair, {"free_chlorine": 0.0, "total_chlorine": 1.0})

    assert found["ph"] == ("high_chlorine",)
    assert found["free_chlorine"] == ("maybe_bleached",)


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


ALKALINITY = {"total_alkalinity": Band(100, 80, 120), "cyanuric_acid": Band(60, 30, 90)}


def test_the_cyanurate_share_is_derived_with_its_own_band():
    """Near pH 7.5 a third of the cyanuric acid counts as alkalinity: Wahman and Alexander 2019."""
    derived = carbonate_alkalinity(ALKALINITY | {"ph": Band(7.5, 7.4, 7.6)})

    assert derived is not None
    assert derived.value == pytest.approx(80, abs=2.0)
    assert derived.low == pytest.approx(derived.value - (20**2 + 10**2) ** 0.5, abs=1.0)
    assert derived.high == pytest.approx(derived.value + (20**2 + 10**2) ** 0.5, abs=1.0)
    assert derived.made_from == ("total_alkalinity", "cyanuric_acid", "ph")


def test_the_cyanurate_share_grows_with_the_ph():
    acid, base = (
        carbonate_alkalinity(ALKALINITY | {"ph": Band(ph, ph - 0.1, ph + 0.1)}) for ph in (6.8, 8.2)
    )

    assert acid.value > base.value + 5.0


def test_without_a_ph_a_usual_one_is_taken_and_widens_the_band():
    known = carbonate_alkalinity(ALKALINITY | {"ph": Band(7.5, 7.45, 7.55)})
    usual = carbonate_alkalinity(ALKALINITY)

    assert usual.made_from == ("total_alkalinity", "cyanuric_acid")
    assert usual.high - usual.low > known.high - known.low


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
