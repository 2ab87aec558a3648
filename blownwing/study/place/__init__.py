"""Places, settings and spins of propellers searched."""
