"""Planned maintenance: plans, what is due, what was done, readings."""
