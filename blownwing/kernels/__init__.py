"""Numba kernels: raw float64 arrays and scalars in SI, no Python objects.

Kernels that call each other share one file, since numba's on-disk cache does not see edits
across files.
"""
