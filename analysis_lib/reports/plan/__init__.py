"""The page of a plan, before anything is recorded."""
