"""The forms of records, with what all of them share in `common`."""
