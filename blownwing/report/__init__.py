"""What a person reads: terminal summary, figures, tables."""
