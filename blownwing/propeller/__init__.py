"""Propellers: blade files, blade-element momentum, ideal discs, trim."""
