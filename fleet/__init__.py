"""The machines and what is in them."""
