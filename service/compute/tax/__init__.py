"""Sales tax on what machines sell: rules as data, product classes, rates by date, and the split.

Nothing here is tax advice. Every figure carries its rule, with the source and how far it was
checked; what no rule covers is not guessed but listed as unclassified.
"""
