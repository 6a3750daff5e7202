"""What ring, chain, crank and leg must do by geometry and dynamics alone; SI units and radians."""
