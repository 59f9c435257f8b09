"""Who is due, rounds that are kept, their papers, and the notes that come home."""
