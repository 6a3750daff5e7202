"""Round-versus-oval chainring studies: from crank torque and angle to a defended answer."""

__version__ = "0.1.0"
