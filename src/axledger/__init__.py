"""Axle and wheel geometry of heavy vehicles, from device bytes to verdicts."""

import os

__version__ = "0.1.0"

# The matrices here have about a hundred rows: threads of the linear algebra library cost more than they bring, up to
# tenfold on a busy machine, and a changing number of threads changes the last bits of a result. They are read when
# numpy is first imported, so they are set here; whoever set them otherwise keeps what was set.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
