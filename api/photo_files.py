"""Photos in the shop folder, named by the SHA-256 of their bytes; written whole or not at all."""

from __future__ import annotations

import hashlib
import os
import uuid
from pathlib import Path

FOLDER = "photos"


def keep(home: Path, data: bytes) -> str:
    """Write the photo durably, unless it is there already, and return its SHA-256."""
    sha256 = hashlib.sha256(data).hexdigest()
    path = path_of(home, sha256)
    if path.exists():
        return sha256
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    for folder in (path.parent, path.parent.parent):
        _sync(folder)
    return sha256


def path_of(home: Path, sha256: str) -> Path:
    """Return where the photo of this hash lies, or would lie."""
    return home / FOLDER / sha256[:2] / sha256


def load(home: Path, sha256: str) -> bytes:
    """Return the photo's bytes; raise FileNotFoundError when it is not kept."""
    return path_of(home, sha256).read_bytes()


def media_type(data: bytes) -> str:
    """Return the photo's kind from its first bytes; names and headers are not trusted."""
    if data[:3] == b"\xff\xd8\xff":
        return "image/jpeg"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "image/png"
    if data[4:8] == b"ftyp":
        return "image/heic"
    return "application/octet-stream"


def _sync(folder: Path) -> None:
    """Make a new name in this folder survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
