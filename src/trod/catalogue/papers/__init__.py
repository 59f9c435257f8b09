"""The archive's papers, and how the catalogue stands to them."""
