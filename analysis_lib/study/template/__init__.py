"""A new study folder to fill in."""
