"""Reads that join or shape, and the gatekeepers through which a row reaches a door."""
