"""Slipstreams: velocity development, contraction, swirl, direction, inflow outside the tube."""
