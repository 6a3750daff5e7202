"""The page of a study of one rider."""
