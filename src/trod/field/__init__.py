"""What goes out to the field and comes home: the field form, the set-up sheet, the round sheet."""
