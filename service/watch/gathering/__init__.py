"""What the numbers say of some machines: one module a kind of evidence, each in a fixed number of
queries whatever the machines."""
