"""A table from the chart on the bottle says so, and its bands are wider."""

import numpy as np
import pytest

from calibration.curve import fit_curve
from calibration.estimate import estimate
from calibration.printed_chart import ChartBlock, table_from_chart
from calibration.rows import TableError
from calibration.table import PadPlan, load_table, table_text
from tests.unit.calibration.dyes import PH, chart, colours

PLANS = [PadPlan("fern", "A7", 1, "ph", "pH", 15.0, 6.0, 5.0)]
BLOCKS = [ChartBlock(1, v, colours(PH, v)) for v in PH.values]


def test_the_table_is_marked_and_its_bands_are_wider():
    table = table_from_chart(PLANS, BLOCKS)
    again = load_table(table_text(table), "chart.csv")

    printed = estimate(fit_curve(again.charts[0]), colours(PH, 7.4), np.eye(3))
    dipped = estimate(fit_curve(chart(PH)), colours(PH, 7.4), np.eye(3))
    assert again.charts[0].kind == "from_chart"
    assert "from_chart" in printed.reasons
    assert printed.steps > 1.5 * dipped.steps


def test_several_photos_of_a_block_are_averaged():
    twice = [*BLOCKS, ChartBlock(1, 7.2, colours(PH, 7.2) + 2.0)]

    block = table_from_chart(PLANS, twice).charts[0].blocks[2]

    assert block.n == 2
    assert block.lab == pytest.approx(colours(PH, 7.2) + 1.0)


@pytest.mark.parametrize(
    ("blocks", "words"),
    [
        ([], "no block was marked"),
        (BLOCKS[:1], "has only one block"),
        ([ChartBlock(2, 7.0, colours(PH, 7.0))], "the strip has no pad 2"),
        ([ChartBlock(1, -1.0, colours(PH, 7.0))], "value -1 of pad 1 cannot be"),
        ([ChartBlock(1, 7.0, np.array([5.0, 0, 60]))], "has an impossible colour"),
    ],
)
def test_wrong_marks_are_explained(blocks, words):
    with pytest.raises(TableError, match=words):
        table_from_chart(PLANS, blocks)
