"""The page of one rider: analysis, mounting, prediction, road, exhibits and words."""
