"""Audit reads and what each column sold between them."""
