"""What can be done to machines, what they can hold, and how their columns are set."""
