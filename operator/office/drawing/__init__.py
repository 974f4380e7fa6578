"""Sections to scale, drawn as SVG from measured geometry. Pure: no query, no clock."""
