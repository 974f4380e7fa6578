"""The tests; their folders mirror the tree."""
