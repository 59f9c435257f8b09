"""The pages: views, forms, addresses, templates, scripts. What they keep goes through `trod.catalogue`.

today            what wants somebody today
map              sites, signs and tracks on the reserve's map
cameras          cameras and their models, what each is and sees
maintenance      cards, locks, incidents, batteries, stock, and what it all costs
planner          a placement worked out before the walk
setup_sheet      what is taken along of it
rounds           who is due, a round planned, taken along and brought home
cards            cards coming home: what is on them, imports, clocks
review           one sequence after another: what is there
pictures         pictures on their way to the browser
questions        the questions and their answers
reports          reports, exports, packages
people           the person at the keyboard, accounts, species, the reserve, cautions

shared           what several of them need: rights, who may see people, timelines, keys of maps
forms            the forms of records, lists of them; `common` has units, local times, limits beside the field
templatetags     what templates call

pages            what every page shares: the heading, the person at the keyboard, theme and units
addresses        numbers in an address
access sessions  who may come in; sessions whose keys the database does not know
seen refused     nobody's change is overwritten unseen; why something was not saved
reading beside   what takes seconds, read or worked out beside the pages
server doors     waitress and the worker beside it; room kept for those who ask
worker           the process that does the long work
urls settings    every room's addresses; Django's settings, all from TROD_HOME and TROD_… variables
apps wsgi        the Django app of the pages; the door for a web server

None of the page rooms, which stand first, imports another.
"""
