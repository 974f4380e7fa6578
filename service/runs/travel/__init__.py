"""Driving times: from a routing server named by the settings, or by great circles."""

from .tables import travel_matrix

__all__ = ["travel_matrix"]
