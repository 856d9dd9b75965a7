"""Whether a table can be trusted: what is found, where, and what is said."""

import json
from datetime import date

import numpy as np
import pytest

from calibration.alike import alike_share, out_of_order, steps
from calibration.check import as_dict, check_table, faults
from calibration.coverage import expected_bands, left_out
from calibration.curve import fit_curve
from calibration.table import FROM_CHART, Block, Table
from tests.unit.calibration.dyes import ALKALINITY, CHLORINE, DYES, HARDNESS, PH, chart, colours


def table(*charts, expires=None):
    return Table("fern", "A7", charts, expires, "lot.csv")


def with_values(dye, values):
    """Return the chart with the dye's colours under other values, each with its line."""
    pairs = zip(values, dye.values, strict=True)
    blocks = [Block(v, colours(dye, own), line=2 + i) for i, (v, own) in enumerate(pairs)]
    return chart(dye, blocks=sorted(blocks, key=lambda block: block.value))


FOLDED = tuple(
    Block(v, np.array(lab, dtype=float), line=2 + i)
    for i, (v, lab) in enumerate(
        [
            (0, (80, 0, 10)),
            (1, (70, 25, 20)),
            (2, (60, 42, 25)),
            (4, (69, 26, 22)),
            (8, (80, 1, 11)),
        ]
    )
)


def test_good_charts_have_no_fault():
    found = check_table(table(*(chart(dye, i + 1) for i, dye in enumerate(DYES))))

    assert found.verdict == "good"
    assert found.faults == ()


def test_two_values_exchanged_are_found_with_their_lines():
    found = check_table(table(with_values(PH, (6.2, 6.8, 7.6, 7.2, 8.0, 8.4))))

    assert out_of_order(found.table.charts[0]) in {(7.2, 7.6), (7.2,), (7.6,)}
    assert found.verdict == "unusable"
    assert found.faults[0].line in {4, 5}
    assert "blocks out of order" in found.faults[0].what


def test_a_mistyped_value_is_found():
    assert out_of_order(with_values(ALKALINITY, (0, 40, 80, 12, 180, 240))) == (12,)


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_charts_in_order_are_not_called_out_of_order(dye):
    assert out_of_order(chart(dye)) == ()


def test_a_fold_is_found_with_the_share_that_fits_two_values():
    folded = chart(CHLORINE, blocks=FOLDED)

    found = check_table(table(folded))

    assert alike_share(fit_curve(folded)) > 0.5
    assert found.verdict == "unusable"
    assert any("a fold: pad 1" in fault.what for fault in found.faults)


def test_two_blocks_alike_are_named():
    blocks = [Block(v, colours(CHLORINE, v), line=2 + i) for i, v in enumerate(CHLORINE.values)]
    blocks[-1] = Block(10.0, colours(CHLORINE, 5.0) + 0.2, line=7)

    found = check_table(table(chart(CHLORINE, blocks=blocks)))

    assert [step.alike for step in steps(found.pads[0].curve)] == [*[False] * 4, True]
    assert found.pads[0].alike_share > 0.05
    assert found.faults[0].sentence("lot.csv") == (
        "lot.csv, line 7: 5 and 10 of pad 1 (free_chlorine) look alike in a photo (CIEDE2000 0.3); "
        "measure them again or leave one out"
    )


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_left_out_blocks_are_read_near_their_value(dye):
    """A smooth chart gives inner blocks back within half a step, with bands that hold."""
    found = left_out(fit_curve(chart(dye)))

    inner = [left for left in found if not left.at_end]
    assert len(inner) == len(dye.values) - 2
    assert all(abs(left.off_steps) < 0.5 for left in inner)
    assert sum(left.held for left in inner) >= len(inner) - 1


def test_bands_are_expected_at_blocks_and_midway():
    bands = expected_bands(fit_curve(chart(HARDNESS)))

    assert [band.value for band in bands[::2]] == pytest.approx(HARDNESS.values)
    assert all(band.read.steps > 0 for band in bands[:-1])


def test_a_lot_past_its_date_is_told():
    late = table(chart(PH), expires=date(2026, 3, 31))

    assert faults(late) == []
    found = check_table(late, date(2026, 4, 1))
    assert found.verdict == "doubtful"
    assert found.faults[0].sentence("lot.csv").startswith("lot.csv: the strips of lot A7 expired")


def test_a_printed_chart_and_thin_repeats_are_told():
    thin = [Block(v, colours(PH, v), 2, 0.2 * np.eye(3)) for v in PH.values]

    printed = faults(table(chart(PH, kind=FROM_CHART)))
    few = faults(table(chart(PH, blocks=thin)))

    assert [fault.words for fault in printed] == [
        "Every pad was made from the printed chart, whose inks are not pads: bands are wider; "
        "make the table from waters of known value: dipstep table build"
    ]
    assert "only 2 strips" in few[0].what


def test_one_remark_names_the_pads_of_a_table_that_are_printed():
    mixed = table(chart(PH, 1), chart(ALKALINITY, 2, kind=FROM_CHART))

    (remark,) = [fault for fault in faults(mixed) if "printed chart" in fault.what]
    assert remark.what.startswith("pad 2 (total_alkalinity) was made from the printed chart")


def test_what_a_print_errs_by_makes_no_neighbours_alike():
    """The press errs by as much at the next block: wide bands are no look-alikes."""
    pads, printed = (check_table(table(chart(dye, kind=kind))) for dye, kind in
                     ((PH, ""), (PH, FROM_CHART)))  # fmt: skip

    assert printed.pads[0].alike_share == pads.pads[0].alike_share == 0.0
    assert not any(step.alike for step in printed.pads[0].steps)


def test_the_answer_is_json_without_gaps():
    answer = as_dict(check_table(table(chart(PH), chart(CHLORINE, 2, blocks=FOLDED))))

    again = json.loads(json.dumps(answer, allow_nan=False))

    assert [pad["analyte"] for pad in again["pads"]] == ["ph", "free_chlorine"]
    assert set(again["pads"][0]) >= {"steps", "out_of_order", "alike_share", "left_out", "bands"}
    assert again["faults"]


def test_two_blocks_are_enough_for_an_answer():
    pad = check_table(table(chart(PH, values=(6.8, 7.8)))).pads[0]

    assert pad.left_out == ()
    assert len(pad.bands) == 3
