"""Views of the desk: each gathers what a page shows, or calls one action."""
