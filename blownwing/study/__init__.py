"""Studies: many solves of one case with changes, and what they say together."""
