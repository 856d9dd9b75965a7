"""Whatever the bytes, the photo opens or says in one sentence why not."""

import io

import numpy as np
from hypothesis import HealthCheck, given, settings, strategies as st
from PIL import Image

from reader.photo import PhotoError, open_photo


def whole(kind):
    picture = np.random.default_rng(7).integers(0, 255, (48, 64, 3), np.uint8)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2025:06:01 09:30:00"
    out = io.BytesIO()
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    Image.fromarray(picture).save(out, kind, exif=exif)
    return out.getvalue()


WHOLE = [whole(kind) for kind in ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")]


def opens_or_says_why(data):
    try:
        photo = open_photo(data)
    except PhotoError as refused:
        said = str(refused)
    else:
        said = "read; "
        assert np.all(np.isfinite(photo.rgb))
    assert "; " in said
    assert "\n" not in said


@given(st.binary(max_size=400))
def test_any_bytes(data):
    opens_or_says_why(data)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(WHOLE),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=8),
    st.floats(0.02, 1),
)
def test_damaged_files(data, hits, share):
    damaged = bytearray(data[: int(len(data) * share)])
    for place, value in hits:
        if damaged:
            damaged[int(place * (len(damaged) - 1))] = value
    opens_or_says_why(bytes(damaged))
