"""The records, and all that reads and writes them: what commands and pages both call. No pages, never a request.

models           the records as rows (Django's own name for them)
migrations       forward-only changes of their tables
rows             what follows from rows alone: species, camera models, daily sums, when a camera watched
papers           the archive's papers: standing (who may write), ledger (rows to papers), loading (papers to rows)
identifications  said, undone, read back; settling: what a command takes up at its start
imports          a card on its way in: bags, facts, times, sequences; moved cards, corrected clocks
records          records that come identified already: planned, brought in, read again, undone
answers          evidence from rows, answers to questions, reports made of them
forecasts        outfits, power draw, when a camera stops, ways and heights
rounds           who is due, kept rounds and their papers, the notes that come home
work             the kinds of long work, rebuild, backup

home             TROD_HOME, and what lies where in it
holders          who is at a data folder; making the catalogue anew needs it for itself alone
database         which database: SQLite, or PostgreSQL
jobs             long work outside the request: a table of jobs and the worker's way through it
line             how long work tells how far it is
slugs            names of folders and addresses
texts            the text of a file that somebody brings
trouble          what a database says when it cannot be used, as one of our own errors
who              whose name is written beside what is done
apps start       the Django app of the records; Django made ready inside a command
"""
