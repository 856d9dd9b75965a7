"""The counter: command line, service and pages; the only package that joins the others."""

import os
import sys

# Our matrices are small: more threads of the linear algebra library cost 2.4 times the time.
# Where numpy is there already, the variable would come too late and only hide from
# `reader.one_thread` that nobody has chosen.
if "numpy" not in sys.modules:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
