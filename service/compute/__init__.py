"""Pure computations of the work: no framework, settings, clock or I/O."""
