"""What can be done with audit reads: receive them, decide about them, and name what they report."""
