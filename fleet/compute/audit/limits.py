"""How much of a file is read. Beyond these the file is held for a person, never half trusted.

A real file has 1 to 30 KB and at most some hundred lines, so nothing honest comes near.
"""

MOST_BYTES = 1_048_576
MOST_LINES = 20_000
MOST_ELEMENTS = 64
MOST_CHARACTERS = 256
MOST_WARNINGS = 200

# More digits than any counter has; a longer number is damage, and would not fit a database column.
MOST_DIGITS = 12
