"""The records, and all that reads and writes them: what commands and pages both call. No pages, and never a request.

models/           the records as rows (Django's own name for them); migrations/ beside it
rows/             what follows from rows alone: species, camera models, daily sums, when a camera watched
papers/           the archive's papers: standing (who may write), ledger (rows to papers), loading (papers to rows)
identifications/  said, undone, read back; settling: what a command takes up at its start
imports/          a card on its way in: bags, facts, times, sequences; moved cards, corrected clocks
answers/          evidence from rows, answers to questions, reports made of them
forecasts/        outfits, power draw, when a camera stops, ways and heights
rounds/           who is due, kept rounds and their papers, the notes that come home
work/             the kinds of long work, rebuild, backup
home.py jobs.py who.py slugs.py texts.py …   what all of these share; start.py makes Django ready
"""
