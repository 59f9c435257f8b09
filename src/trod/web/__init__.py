"""The only room that imports Django: records, pages and the catalogue.

models/     the records, as rows; they compute nothing themselves
catalogue/  what commands and pages both call: taking a card in, facts, sequences, words, rebuild, evidence
jobs.py     long work outside the request, with progress, cancel and resume after a kill
today/ ground/ cameras/ cards/ look/ questions/ reports/ people/   a folder per work: views, forms, urls
"""
