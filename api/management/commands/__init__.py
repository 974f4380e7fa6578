"""Commands of the computations."""
