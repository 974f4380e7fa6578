"""Pure computations about machines: numbers in, numbers and their reasons out.

Nothing here knows of a database, a web framework, settings, the clock or files.
"""
