"""What a study measures besides torque: metabolic power, its slope over work, and how repeatable published tests are."""
