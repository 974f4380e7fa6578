"""The desk: browser screens."""
