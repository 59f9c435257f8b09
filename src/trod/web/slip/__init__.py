"""The setup slip of a placement: on the screen, on paper, as a PDF."""
