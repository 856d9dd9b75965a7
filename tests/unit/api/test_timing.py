"""The read-after rule: in time, somewhat off, doubtful, hopeless."""

import pytest

from api.timing import timing


@pytest.mark.parametrize(
    ("elapsed_s", "read_after_s", "widen", "reasons"),
    [
        (None, 15, 1.0, ()),
        (15, 15, 1.0, ()),
        (20, 15, 1.0, ()),
        (10, 15, 1.0, ()),
        (25, 15, 4.0, ("off_time",)),
        (31, 15, 9.0, ("read_late",)),
        (9, 15, 1.44, ("read_early",)),
        (7, 15, 1.0, ("far_off_time",)),
        (616, 15, 1.0, ("far_off_time",)),
        (75, 60, 1.0, ()),
        (80, 60, (20 / 15) ** 2, ("off_time",)),
    ],
)
def test_a_photo_off_its_time_widens_then_is_doubted_then_says_nothing(
    elapsed_s, read_after_s, widen, reasons
):
    found = timing(elapsed_s, read_after_s)

    assert found.widen == pytest.approx(widen)
    assert found.reasons == reasons


@pytest.mark.parametrize("read_after_s", [0, 5, 15, 60, 120])
def test_the_band_never_narrows_with_delay(read_after_s):
    widths = [
        timing(read_after_s + late, read_after_s).widen
        for late in range(0, 300, 5)
        if "far_off_time" not in timing(read_after_s + late, read_after_s).reasons
    ]

    assert widths == sorted(widths)
    assert min(widths) >= 1.0
