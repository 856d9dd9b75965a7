"""Small matrices are worked on by one thread, unless the user has chosen otherwise."""

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize(("chosen", "used"), [(None, "1"), ("4", "4")])
def test_one_thread_unless_chosen_otherwise(chosen, used):
    environ = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
    if chosen:
        environ["OPENBLAS_NUM_THREADS"] = chosen
    code = "import reader, os; print(os.environ['OPENBLAS_NUM_THREADS'])"
    run = subprocess.run(
        [sys.executable, "-c", code], env=environ, capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == used
