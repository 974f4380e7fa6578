"""What can be done to people, their devices and the business's own settings."""
