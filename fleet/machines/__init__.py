"""Kinds of machine, sites, machines, columns, what they can hold, set-ups and changeovers."""
