"""Pictures that explain a reading: what was found, and each pad's colour on its chart's path."""

from __future__ import annotations

from api.job import Job
from api.measure import PadReading, PhotoReading
from api.wanted import wanted_ranges
from api.workers import Pictures
from calibration.curve import Curve
from calibration.estimate import posterior
from calibration.picture import draw_path
from calibration.value_picture import draw_posterior
from reader.explain import draw_flat
from reader.photo import open_photo
from reader.picture import draw_seen


def pictures_of(data: bytes, reading: PhotoReading, job: Job, kinds: Pictures) -> dict[str, bytes]:
    """Return the pictures asked for, by file name."""
    pictures = {}
    verdicts = {pad.chart.pad: pad.status for pad in reading.pads}
    if "seen" in kinds:
        pictures["seen.jpg"] = draw_seen(open_photo(data), reading.seen, verdicts)
    flat = draw_flat(reading.seen, verdicts) if "flat" in kinds else None
    if flat is not None:
        pictures["flat.jpg"] = flat
    if "pads" in kinds:
        for pad in reading.pads:
            pictures |= pad_pictures(pad, job.curves[pad.chart.pad])
    return pictures


def pad_pictures(pad: PadReading, curve: Curve) -> dict[str, bytes]:
    """Return one pad's colour on its chart's path, and what it says about the value, as SVG."""
    if pad.lab is None or pad.cov is None or pad.estimate is None:
        return {}
    name = f"pad{pad.chart.pad}-{pad.chart.analyte}"
    wanted = wanted_ranges().get(pad.chart.analyte)
    seen = posterior(curve, pad.lab, pad.cov, pad.dof)
    return {
        f"{name}-path.svg": draw_path(curve, pad.lab, pad.cov, pad.estimate.at).encode(),
        f"{name}-value.svg": draw_posterior(
            curve, seen, pad.estimate, wanted, pad.status != "unreadable"
        ).encode(),
    }
