"""What the record holds of an athlete and of a plan, class after class."""
