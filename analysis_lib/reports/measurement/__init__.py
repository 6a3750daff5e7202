"""What one recording and its repetition tell: turns, meters, agreement, repeatability."""
