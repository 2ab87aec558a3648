"""The aircraft in balance: forces and moments of all parts, and what makes them vanish."""
