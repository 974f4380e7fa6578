"""Service tickets: what is wrong, promised when, done by whom."""
