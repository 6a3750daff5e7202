"""The page that compares more than two rings."""
