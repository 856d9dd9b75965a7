"""The read-after rule: in time, somewhat off, doubtful, hopeless."""

from datetime import datetime, timedelta, timezone

import pytest

from api.timing import seconds_apart, since_dip, timing


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


DIPPED = datetime(2026, 6, 1, 9, 0, 0, tzinfo=timezone(timedelta(hours=2)))


@pytest.mark.parametrize(
    ("taken_at", "elapsed_s", "reasons"),
    [
        ("2026-06-01T09:00:16+02:00", 16.0, ()),
        ("2026-06-01T07:00:16+00:00", 16.0, ()),
        ("2026-06-01T11:00:00+02:00", 7200.0, ()),
        ("2026-06-01T08:59:59+02:00", 0.0, ()),
        ("2026-06-01T08:59:50+02:00", None, ("photo_before_dip",)),
        ("2026-06-01T09:00:16", 16.0, ()),
        ("2026-06-01T09:14:59", 899.0, ()),
        ("2026-06-01T07:00:16", None, ("photo_zone_unknown",)),
        ("2026-06-01T09:15:16", None, ("photo_zone_unknown",)),
        (None, None, ("photo_time_unknown",)),
    ],
)
def test_a_photos_own_time_is_believed_only_where_its_zone_is_sure(taken_at, elapsed_s, reasons):
    """A clock that goes by another zone is off by quarters of an hour, never by seconds."""
    found = since_dip(DIPPED, None if taken_at is None else datetime.fromisoformat(taken_at))

    assert found.elapsed_s == elapsed_s
    assert found.reasons == reasons


@pytest.mark.parametrize(
    ("taken_at", "apart"),
    [
        (["2026-06-01T09:00:05", "2026-06-01T09:00:00"], (5.0, 0.0)),
        (["2026-06-01T09:00:00+02:00", "2026-06-01T07:00:07+00:00"], (0.0, 7.0)),
        (["2026-06-01T09:00:00+02:00", "2026-06-01T07:00:07"], None),
        (["2026-06-01T09:00:00", None], None),
    ],
)
def test_photos_are_so_far_apart_as_their_times_tell(taken_at, apart):
    times = [one and datetime.fromisoformat(one) for one in taken_at]

    assert seconds_apart(times) == apart
