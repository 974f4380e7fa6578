"""The REST layer."""
