"""Invented studies with known truth."""
