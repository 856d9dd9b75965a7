"""Small matrices are worked on by one thread, unless the user has chosen otherwise."""

import os
import subprocess
import sys

import pytest

from reader.one_thread import VARIABLES

THREADS_LEFT = """
import ctypes, numpy, pathlib, {package}
home = pathlib.Path(numpy.__file__).parent
library = ctypes.CDLL(str(next((home.parent / "numpy.libs").glob("*openblas*"))))
print(library.scipy_openblas_get_num_threads64_())
"""


def said(code: str, chosen: str | None) -> str:
    environ = {k: v for k, v in os.environ.items() if k not in VARIABLES}
    if chosen:
        environ["OPENBLAS_NUM_THREADS"] = chosen
    run = subprocess.run(
        [sys.executable, "-c", code], env=environ, capture_output=True, text=True, check=True
    )
    return run.stdout.strip()


@pytest.mark.parametrize(("chosen", "used"), [(None, "1"), ("4", "4")])
def test_one_thread_unless_chosen_otherwise(chosen, used):
    assert said("import reader, os; print(os.environ['OPENBLAS_NUM_THREADS'])", chosen) == used


@pytest.mark.parametrize("package", ["reader", "api.measure"])
@pytest.mark.parametrize(("chosen", "used"), [(None, "1"), ("2", "2")])
def test_a_numpy_that_was_there_before_is_told(package, chosen, used):
    left = said(THREADS_LEFT.format(package=package), chosen)
    assert left == str(min(int(used), os.cpu_count() or 1))
