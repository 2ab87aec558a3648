"""Many cases of a study: plan, run, keep, rank."""
