"""From the case's planform, discs and slipstreams to arrays: lattice, annuli, tube panels."""
