"""Pictures that explain a reading: what was found, and each pad's colour on its chart's path."""

from __future__ import annotations

from collections.abc import Sequence

from api.job import Job
from api.measure import KNOWN, PadReading, PhotoReading
from api.wanted import wanted_ranges
from api.workers import Pictures
from calibration.curve import Curve
from calibration.estimate import posterior
from calibration.picture import draw_path
from calibration.value_picture import draw_posterior, draw_untold
from reader.explain import draw_flat
from reader.photo import open_photo
from reader.picture import draw_seen

WEIGHTS = ("spoils", "doubt", "note")


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
            pictures |= pad_pictures(pad, job.curves[pad.chart.pad], reading.reasons)
    return pictures


def pad_pictures(pad: PadReading, curve: Curve, of_photo: Sequence[str] = ()) -> dict[str, bytes]:
    """Return one pad's colour on its chart's path, and what it says about the value, as SVG.

    A pad without a colour has the second alone: it says why, by its reasons or those `of_photo`.
    """
    name = f"pad{pad.chart.pad}-{pad.chart.analyte}"
    wanted = wanted_ranges().get(pad.chart.analyte)
    if pad.lab is None or pad.cov is None or pad.estimate is None:
        return {f"{name}-value.svg": draw_untold(curve, why(pad, of_photo), wanted).encode()}
    remark = "" if pad.status == "accepted" else why(pad, of_photo)
    seen = posterior(curve, pad.lab, pad.cov, pad.dof)
    return {
        f"{name}-path.svg": draw_path(curve, pad.lab, pad.cov, pad.estimate.at).encode(),
        f"{name}-value.svg": draw_posterior(
            curve, seen, pad.estimate, wanted, pad.status != "unreadable", remark
        ).encode(),
    }


def why(pad: PadReading, of_photo: Sequence[str]) -> str:
    """Return the heaviest reason, the pad's own before those of the photo.

    With its cure where the pad cannot be told: else a look by hand is one.
    """
    said = [KNOWN[code] for code in (*pad.reasons, *of_photo) if code in KNOWN]
    heaviest = min(said, key=lambda one: WEIGHTS.index(one.weight), default=None)
    if heaviest is None:
        return "Its colour was not seen."
    if pad.status == "recheck":
        return f"Check by hand. {heaviest.sentence}"
    return f"{heaviest.sentence} {heaviest.cure}"
