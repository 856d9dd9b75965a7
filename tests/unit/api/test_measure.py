"""The joint: colours become values with bands, and verdicts are the worst of the reasons."""

from dataclasses import replace

import numpy as np
import pytest

from api.measure import curves_of, judge, verdict, verdicts
from calibration.table import load_table
from reader.pads import PadColour
from reader.read_strip import StripSeen
from tests.whole.shop import TABLE

TABLE_TWO = load_table(TABLE, "t.csv")
CURVES = curves_of(TABLE_TWO)
SURE = np.eye(3) * 0.3


def colour(pad, lab, reasons=(), cov=SURE, budget=None):
    return PadColour(
        pad=pad, lab=np.array(lab, float), cov=cov, cov_budget=budget, dof=50.0, reasons=reasons
    )


def seen(*pads, reasons=(), card=True, strip=True):
    return StripSeen(
        card_found=card,
        design="dipstep-a.1" if card else None,
        delta_e00_median=0.5 if card else None,
        delta_e00_p95=1.2 if card else None,
        strip_found=strip,
        pads=pads,
        reasons=reasons,
    )


PH = (72, 20, 55)
"""The table's block of pH 7.2."""
FREE = (78, 18, -10)
"""The table's block of 3 mg/L."""


def read(*pads, elapsed_s=15, **whole):
    return judge(seen(*pads, **whole), TABLE_TWO, elapsed_s, CURVES)


def test_clean_colours_are_accepted_with_a_band_around_the_block():
    reading = read(colour(1, PH), colour(2, FREE))

    assert reading.status == "accepted"
    ph, free = reading.pads
    assert ph.band.value == pytest.approx(7.2, abs=0.03)
    assert ph.band.low < 7.2 < ph.band.high
    assert free.band.value == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize(
    ("reason", "verdict"),
    [("card_covered", "accepted"), ("card_tilted", "recheck"), ("pad_covered", "unreadable")],
)
def test_a_pads_verdict_is_its_worst_reason(reason, verdict):
    reading = read(colour(1, PH, ("card_covered", reason)), colour(2, FREE))

    assert [pad.status for pad in reading.pads] == [verdict, "accepted"]
    assert reading.status == ("accepted" if verdict == "accepted" else "recheck")


def test_an_unreadable_pad_has_no_band_but_keeps_its_colour():
    pad = read(colour(1, PH, ("pad_covered",)), colour(2, FREE)).pads[0]

    assert pad.band is None
    assert pad.lab is not None


@pytest.mark.parametrize(
    ("reason", "verdict"), [("blurred", "recheck"), ("too_blurred", "unreadable")]
)
def test_what_is_wrong_with_the_photo_weighs_on_every_pad(reason, verdict):
    reading = read(colour(1, PH), colour(2, FREE), reasons=(reason,))

    assert {pad.status for pad in reading.pads} == {verdict}
    assert all(reason in pad.reasons for pad in reading.pads)
    assert reading.status == verdict


def test_a_photo_without_card_names_every_pad_as_unreadable():
    reading = read(card=False, strip=False, reasons=("no_card",))

    assert reading.status == "unreadable"
    assert [(pad.chart.pad, pad.status, pad.reasons) for pad in reading.pads] == [
        (1, "unreadable", ("no_card",)),
        (2, "unreadable", ("no_card",)),
    ]


def test_the_read_after_time_widens_then_doubts_then_spoils():
    in_time, off, late, hopeless = (
        read(colour(1, PH), colour(2, FREE), elapsed_s=elapsed).pads[0]
        for elapsed in (15, 26, 60, 3000)
    )

    assert in_time.estimate.steps < off.estimate.steps
    assert (off.status, late.status, hopeless.status) == ("accepted", "recheck", "unreadable")


def test_the_budget_counts_only_for_a_table_without_repeats():
    budget = np.eye(3) * 4.0
    bare = read(colour(1, PH), colour(2, FREE)).pads[0]
    with_budget = read(colour(1, PH, budget=budget), colour(2, FREE)).pads[0]

    assert with_budget.estimate.steps > bare.estimate.steps
    assert not CURVES[1].has_repeats


def test_chlorine_past_ten_doubts_the_ph_pad():
    reading = read(colour(1, PH), colour(2, (57, 37, -25)))

    assert "high_chlorine" in reading.pads[0].reasons
    assert reading.pads[0].status == "recheck"


def test_off_its_time_the_band_widens_whatever_the_table_was_made_from():
    """Twice the tolerance: the whole covariance, budget too, counts four times."""
    budget = np.eye(3)
    in_time = read(colour(1, PH, budget=budget), elapsed_s=15).pads[0]
    late = read(colour(1, PH, budget=budget), elapsed_s=25).pads[0]

    assert late.reasons == ("off_time",)
    assert late.cov == pytest.approx(4.0 * in_time.cov)
    assert late.estimate.steps > 1.5 * in_time.estimate.steps


def test_where_several_pads_are_off_their_charts_the_rest_fits_by_chance():
    off, fits = [pad_reading("off_curve")] * 2, pad_reading()
    strange = verdicts(seen(), [*off, *[fits] * 5])
    assert strange.status == "recheck"
    assert "colours_off_chart" in strange.reasons
    assert {pad.status for pad in strange.pads} == {"recheck"}


@pytest.mark.parametrize(
    ("off", "fits"),
    [
        ([("off_curve",)], 4),
        ([("off_curve", "dirty"), ("off_curve", "glare"), ("off_curve",)], 4),
        ([("off_curve",)] * 2, 8),
    ],
    ids=["one alone", "each for its own reason", "two of a long strip"],
)
def test_a_few_pads_off_their_charts_say_nothing_of_the_others(off, fits):
    usual = verdicts(seen(), [*(pad_reading(*codes) for codes in off), *[pad_reading()] * fits])

    assert "colours_off_chart" not in usual.reasons
    assert [pad.status for pad in usual.pads][len(off) :] == ["accepted"] * fits


def pad_reading(*reasons):
    ph = read(colour(1, PH), colour(2, FREE)).pads[0]
    return replace(ph, reasons=reasons, status=verdict(reasons))


EVEN = """strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b
Even four,E1,1,ph,pH,15,20,5,6.8,78,8,60
Even four,E1,1,ph,pH,15,20,5,8.4,54,44,28
Even four,E1,2,free_chlorine,mg/L,15,30,5,0,95,0,6
Even four,E1,2,free_chlorine,mg/L,15,30,5,10,60,34,-22
Even four,E1,3,total_alkalinity,mg/L,15,40,5,0,80,0,50
Even four,E1,3,total_alkalinity,mg/L,15,40,5,240,50,-30,-5
Even four,E1,4,calcium_hardness,mg/L,15,50,5,0,55,5,-40
Even four,E1,4,calcium_hardness,mg/L,15,50,5,500,45,55,-10
"""


def test_a_strip_of_even_pads_turned_round_is_told_by_its_colours():
    table = load_table(EVEN, "even.csv")
    labs = [(66, 26, 44), (77, 17, -8), (65, -15, 22), (50, 30, -25)]
    right = seen(*(colour(n, lab) for n, lab in enumerate(labs, 1)))
    assert judge(right, table, 15, curves_of(table)).status == "accepted"

    turned = seen(*(colour(n, lab) for n, lab in enumerate(labs[::-1], 1)))
    reading = judge(turned, table, 15, curves_of(table))
    assert reading.status == "unreadable"
    assert "strip_reversed" in reading.reasons
    assert {pad.status for pad in reading.pads} == {"unreadable"}
