"""A local page on which a case is tried out: propellers are moved, results follow at once."""
