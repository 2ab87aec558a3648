"""Products of matrices that are kept in single precision with vectors in double."""

from __future__ import annotations

from blownwing.kernels.jit import summing


@summing
def product(part, parts, matrix, x, out):
    """Fill out[i] with Σ_j matrix[i, j] x[j], summed in double.

    matrix: (n, m); x: (m,); out: (n,).
    """
    n, m = matrix.shape
    for i in range(part * n // parts, (part + 1) * n // parts):
        total = 0.0
        for j in range(m):
            total += matrix[i, j] * x[j]
        out[i] = total
