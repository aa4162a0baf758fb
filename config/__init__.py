"""The composition root: settings, addresses, the start of every process."""

import os

# The matrices of the yield model are small: threads that share one mostly wait for each other. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
