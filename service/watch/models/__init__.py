"""What the numbers make the watch suspect."""
