"""What two rings do to a stroke: the exhibits of the notebooks on mechanics, and published effects."""
