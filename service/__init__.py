"""The work done on the machines, and the rules they live under."""
