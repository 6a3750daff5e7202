"""The study folder: its settings, its tables, its trials, its plan and its synthetic twin."""
