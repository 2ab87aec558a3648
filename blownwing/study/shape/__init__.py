"""Chord and twist of a wing, and a blade, searched behind propellers."""
