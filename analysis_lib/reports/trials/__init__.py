"""A rider's trials as they were read, and what speaks against them: ring, mount, torque scale, power."""
