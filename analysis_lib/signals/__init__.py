"""From a recording of crank torque and angle to turns, torque profiles and stroke measures."""
