"""Where the shop's own procedures come from: a path beside the log, or the shop folder."""

from __future__ import annotations

from pathlib import Path

from api.advise import FindProcedure

SUFFIX = ".toml"


def beside(folder: Path) -> FindProcedure:
    """Return a finder of procedures by path; a relative path starts at the log's folder."""

    def find(name: str) -> str | None:
        if not name.endswith(SUFFIX) and "/" not in name:
            return None
        return _text(folder / name, name)

    return find


def shop_procedures(home: Path) -> FindProcedure:
    """Return a finder of procedures in the shop folder only; no path leads out of it."""

    def find(name: str) -> str | None:
        if not name.endswith(SUFFIX) and "/" not in name:
            return None
        kept = sorted(path.name for path in (home / "procedures").glob(f"*{SUFFIX}"))
        if name not in kept:
            known = ", ".join(kept) or "none yet"
            raise ValueError(f"procedure {name!r} is not in the shop folder; there is: {known}")
        return _text(home / "procedures" / name, name)

    return find


def _text(path: Path, name: str) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        why = (fault.strerror or str(fault)).lower()
        raise ValueError(f"procedure {name!r}: {why}; check the path in the log") from None
    except UnicodeDecodeError:
        raise ValueError(f"procedure {name!r}: is not UTF-8 text; save it as UTF-8") from None
