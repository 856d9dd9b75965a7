"""A worker that reads photo after photo does not ask the system for the same memory again."""

import subprocess
import sys

FAULTS = """
import resource
import numpy as np
from api.kept_memory import keep_memory
if {kept}:
    keep_memory()
def pages():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt
def photo():
    pixels = np.ones(9_000_000, np.uint8)
    return pixels[:6_000_000] * np.float32(0.5)
photo()
before = pages()
for _ in range(5):
    photo()
print(pages() - before)
"""


def faults(kept: bool) -> int:
    run = subprocess.run(
        [sys.executable, "-c", FAULTS.format(kept=kept)], capture_output=True, text=True, check=True
    )
    return int(run.stdout)


def test_the_next_photo_finds_the_memory_of_the_last():
    assert faults(kept=True) < 100 < faults(kept=False)
