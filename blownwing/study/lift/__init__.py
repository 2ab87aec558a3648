"""Lift held, the largest lift, the stall speed."""
