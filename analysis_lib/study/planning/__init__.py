"""A study before its first visit: sequences, schedule, size, frozen protocol; and what departed from it."""
