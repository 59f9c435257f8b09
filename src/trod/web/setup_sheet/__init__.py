"""The set-up sheet of a placement: on the screen, on paper, as a PDF."""
