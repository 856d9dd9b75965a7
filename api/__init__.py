"""The counter: command line, service and pages; the only package that joins the others."""

import os

# Our matrices are small: more threads of the linear algebra library cost 2.4 times the time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
