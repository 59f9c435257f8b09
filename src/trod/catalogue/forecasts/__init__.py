"""What a standing camera draws, and when it will probably stop."""
