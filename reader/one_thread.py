"""One thread for linear algebra: our matrices are small, and waking threads costs several times
what they save (a reading took 369 ms of processor time with two threads, 152 with one, and on a
busy machine a second).

A choice already made by one of the variables below is left alone. Where numpy was imported
before us, the variables come too late and its library is told directly, for the whole process.
"""

import contextlib
import ctypes
import os
import sys
from pathlib import Path

VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
FOLDERS = ("../{}.libs", ".dylibs")
"""Where the wheels of numpy and scipy keep OpenBLAS, from their own folder."""
SETTERS = ("scipy_openblas_set_num_threads64_", "scipy_openblas_set_num_threads")


def use_one_thread() -> None:
    """Choose one thread unless something else was chosen."""
    chosen = any(name in os.environ for name in VARIABLES)
    for name in VARIABLES:
        os.environ.setdefault(name, "1")
    for name in ("numpy", "scipy"):
        package = sys.modules.get(name)
        if not chosen and package is not None and package.__file__:
            _tell(name, Path(package.__file__).parent)


def _tell(name: str, home: Path) -> None:
    """Tell the OpenBLAS of this package; other builds keep their threads."""
    for path in (p for folder in FOLDERS for p in (home / folder.format(name)).glob("*openblas*")):
        with contextlib.suppress(OSError):
            library = ctypes.CDLL(str(path))
            for setter in SETTERS:
                if hasattr(library, setter):
                    getattr(library, setter)(ctypes.c_int(1))


use_one_thread()
