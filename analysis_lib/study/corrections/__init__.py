"""What a trial's recording is corrected by before it is analysed, and how uncertain that leaves it."""
