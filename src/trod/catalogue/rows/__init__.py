"""What follows from rows alone."""
