"""Scrambled Sobol points for simulations, without the wait for a statistics library to load.

The points are those of scipy.stats.qmc.Sobol bit for bit (a test holds them to it), but without importing scipy.stats,
which takes a second and a half on a small machine. Beyond the dimensions of the table scipy is asked instead.
"""

from __future__ import annotations

import numpy as np

from recurve.arrays import Array

BITS = 30
# Primitive polynomials and first direction numbers of dimensions 2 and on: degree, coefficients, m.
# S. Joe and F. Y. Kuo, SIAM Journal on Scientific Computing 30 (2008), set new-joe-kuo-6 (from memory).
DIRECTIONS: tuple[tuple[int, int, tuple[int, ...]], ...] = (
    (1, 0, (1,)),
    (2, 1, (1, 3)),
    (3, 1, (1, 3, 1)),
    (3, 2, (1, 1, 1)),
    (4, 1, (1, 1, 3, 3)),
    (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)),
    (5, 4, (1, 1, 5, 5, 5)),
    (5, 7, (1, 1, 7, 11, 19)),
    (5, 11, (1, 1, 5, 1, 1)),
    (5, 13, (1, 1, 1, 3, 11)),
    (5, 14, (1, 3, 5, 5, 31)),
    (6, 1, (1, 3, 3, 9, 7, 49)),
    (6, 13, (1, 1, 1, 15, 21, 21)),
    (6, 16, (1, 3, 1, 13, 27, 49)),
    (6, 19, (1, 1, 1, 15, 7, 5)),
    (6, 22, (1, 3, 1, 15, 13, 25)),
    (6, 25, (1, 1, 5, 5, 19, 61)),
    (7, 1, (1, 3, 7, 11, 23, 15, 103)),
    (7, 4, (1, 3, 7, 13, 13, 15, 69)),
)


def sobol(count: int, dimensions: int, seed: int) -> Array:
    """Scrambled Sobol points (count, dimensions) [1] in the open unit cube; `count` a power of two."""
    if dimensions <= len(DIRECTIONS) + 1:
        points = _points(count, dimensions, seed)
    else:
        from scipy.stats import qmc

        points = np.asarray(qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed)).random(count))
    return np.asarray(np.clip(points, 1e-12, 1 - 1e-12))


def _points(count: int, dimensions: int, seed: int) -> Array:
    """Gray-code order (Antonov and Saleev): point i+1 is point i with one direction number more."""
    directions, shift = _scrambled(np.stack([_directions(d) for d in range(dimensions)]), seed)
    states = np.zeros((count, dimensions), np.int64)
    index = np.arange(count)
    gray = index ^ (index >> 1)
    for bit in range(max(count - 1, 0).bit_length()):
        states ^= ((gray >> bit) & 1)[:, None] * directions[:, bit]
    return np.asarray((states ^ shift) / 2.0**BITS)


def _directions(dimension: int) -> np.ndarray:
    """Direction numbers (BITS,) of a dimension from 0, each shifted to the top of BITS bits."""
    if dimension == 0:
        m = [1] * BITS
    else:
        degree, coefficients, first = DIRECTIONS[dimension - 1]
        m = list(first)
        for i in range(degree, BITS):
            new = m[i - degree] ^ (m[i - degree] << degree)
            for k in range(1, degree):
                new ^= ((coefficients >> (degree - 1 - k)) & 1) * (m[i - k] << k)
            m.append(new)
    return np.array([x << (BITS - 1 - i) for i, x in enumerate(m)], np.int64)


def _scrambled(directions: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Left matrix scramble and digital shift (Matoušek, Journal of Complexity 14, 1998): directions
    (dimensions, BITS) and shift (dimensions,)."""
    random, dimensions = np.random.default_rng(seed).spawn(1)[0], len(directions)
    powers = 2 ** np.arange(BITS, dtype=np.int64)
    shift = random.integers(2, size=(dimensions, BITS), dtype=np.uint32).astype(np.int64) @ powers
    lower = np.tril(random.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32)).astype(np.int64)
    lower[:, np.arange(BITS), np.arange(BITS)] = 1
    # The bits of each direction number, the highest first, times the matrix, modulo 2.
    bits = (directions[:, None, :] >> np.arange(BITS - 1, -1, -1)[None, :, None]) & 1
    mixed = (lower @ bits) & 1
    return np.einsum("drj,r->dj", mixed, powers[::-1]), shift


def rectangular(uniform: Array, half_width: float) -> Array:
    """Errors equally likely anywhere within ± half_width [any] (GUM 4.3.7), from uniform numbers in (0, 1) of the same
    shape."""
    return half_width * (2.0 * uniform - 1.0)
