"""Types of arrays that every room speaks of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = NDArray[np.complex128]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]
