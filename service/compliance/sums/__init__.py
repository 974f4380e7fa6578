"""What was sold, added up for the tax: where, at which rates, and under which rule."""
