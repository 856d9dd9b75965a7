"""Photos in the shop folder, by their hash."""

import hashlib

import pytest

from api import photo_files


def test_a_photo_is_kept_under_its_hash_and_once(tmp_path):
    name = photo_files.keep(tmp_path, b"photo")

    assert name == hashlib.sha256(b"photo").hexdigest()
    assert photo_files.keep(tmp_path, b"photo") == name
    assert photo_files.load(tmp_path, name) == b"photo"
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [name]


def test_a_half_written_photo_is_never_found(tmp_path, monkeypatch):
    def no_room(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(photo_files.os, "fsync", no_room)
    with pytest.raises(OSError, match="No space"):
        photo_files.keep(tmp_path, b"photo")

    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\xff\xd8\xff\xe0", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"\x00\x00\x00\x18ftypheic", "image/heic"),
        (b"<script>", "application/octet-stream"),
    ],
)
def test_the_kind_is_told_by_the_bytes(data, kind):
    assert photo_files.media_type(data) == kind
