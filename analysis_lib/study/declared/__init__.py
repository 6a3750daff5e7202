"""What study.toml declares, and how a fault in it is told."""
