"""Settings from the environment, read once; the shop folder holds everything that is kept."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

MIB = 1024 * 1024
NAMES = {
    "DIPSTEP_HOME": "the shop folder; default: dipstep-shop in the current folder",
    "DIPSTEP_DATABASE_URL": "the database; default: SQLite in the shop folder",
    "DIPSTEP_MAX_UPLOAD_MIB": "largest upload in MiB; default 30",
    "DIPSTEP_READERS": "photos read at once; default: as many as there are cores",
    "DIPSTEP_READ_TIMEOUT_S": "seconds after which a reading is broken off; default 30",
}
SAMPLES = Path(__file__).parents[1] / "sample_images"


class SettingsError(ValueError):
    """A setting that cannot be used; the message names it and the cure."""


@dataclass(frozen=True)
class Settings:
    """What the service is told from outside."""

    home: Path
    database_url: str
    max_upload_bytes: int = 30 * MIB
    readers: int = 2
    read_timeout_s: float = 30.0
    alone: bool = True
    """Listens on this machine only: one person may work without a login."""
    warm: bool = False
    """Has everything at hand before the first request: slower to start, quicker to answer."""

    @staticmethod
    def from_environ(environ: Mapping[str, str]) -> Settings:
        """Return the settings; raise `SettingsError` for a name or value that is unknown."""
        for name in environ:
            if name.startswith("DIPSTEP_") and name not in NAMES:
                raise SettingsError(f"{name}: no such setting; there are {', '.join(NAMES)}")
        home = Path(environ.get("DIPSTEP_HOME") or "dipstep-shop").absolute()
        return Settings(
            home=home,
            database_url=environ.get("DIPSTEP_DATABASE_URL") or f"sqlite:///{home / 'dipstep.db'}",
            max_upload_bytes=int(_number(environ, "DIPSTEP_MAX_UPLOAD_MIB", 30, 1, 1024) * MIB),
            readers=int(_number(environ, "DIPSTEP_READERS", os.cpu_count() or 1, 1, 64)),
            read_timeout_s=_number(environ, "DIPSTEP_READ_TIMEOUT_S", 30, 1, 600),
        )

    @property
    def samples(self) -> Path | None:
        """The folder of sample photos, where this is a checkout."""
        return SAMPLES if SAMPLES.is_dir() else None


def _number(
    environ: Mapping[str, str], name: str, default: float, least: float, most: float
) -> float:
    text = environ.get(name)
    if not text:
        return default
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not least <= value <= most:
        raise SettingsError(f"{name}: {text!r} is no number from {least:g} to {most:g}; correct it")
    return value
