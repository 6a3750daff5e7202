"""Figures, pages and the runner that turns a study folder into reports."""
