"""Types of arrays that every room speaks of, and how their memory is kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = NDArray[np.complex128]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]

# A fit makes and drops thousands of arrays of a few hundred kB. By default the C library of Linux hands each back to the
# system, and gets it anew page by page, which takes longer than the sums done in it. Once a large block was dropped, it keeps
# up to twice as much for the next (mallopt(3), M_MMAP_THRESHOLD, the dynamic threshold). The block is never touched.
KEPT = 31 * 2**20
np.empty(KEPT, np.uint8)
