"""The review: one sequence after another, a person says what is there."""
