"""What people say of sequences: said, undone, said again, and read back from the archive."""
