"""What speaks against a recorder's power: its torque scale, and the trials of one rider beside each other."""
