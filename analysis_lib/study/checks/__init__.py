"""Whether a study folder agrees with itself, and whether it is ready to be analysed."""
