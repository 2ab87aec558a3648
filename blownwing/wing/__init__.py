"""The wing: lattice system, loads, Trefftz plane."""
