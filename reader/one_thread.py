"""One thread for linear algebra: our matrices are small, and waking threads costs several times
what they save (a reading took 369 ms of processor time with two threads, 152 with one).

It works where numpy has not been imported yet, and leaves a choice already made alone.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
