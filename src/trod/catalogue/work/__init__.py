"""The kinds of long work, rebuild and backup: above every other room of the catalogue."""
