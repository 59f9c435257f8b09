"""Forward-only changes of the tables."""
