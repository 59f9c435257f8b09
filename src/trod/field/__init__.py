"""What goes out to the field and comes home.

form         the field form: a round as one page for a phone, and the visits that come back from it
setup_sheet  the set-up sheet: one page to take along
setup_code   the code on it: one line of text that a phone reads, drawn as a QR code
round_sheet  the round on paper: the order with its times, what to carry, lines to write on
"""
