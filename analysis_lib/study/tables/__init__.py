"""A study's tables as read and written, and the data package that describes them."""
