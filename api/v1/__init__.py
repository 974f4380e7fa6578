"""Version 1 of the API."""
