"""Products of matrices that are kept in single precision with vectors in double."""

from __future__ import annotations

from blownwing.kernels.jit import prange, summing

_CHUNKS = 16


@summing
def product(matrix, x, out):
    """Fill out[i] with Σ_j matrix[i, j] x[j], summed in double.

    matrix: (n, m); x: (m,); out: (n,).
    """
    n, m = matrix.shape
    for chunk in prange(_CHUNKS):
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            total = 0.0
            for j in range(m):
                total += matrix[i, j] * x[j]
            out[i] = total
