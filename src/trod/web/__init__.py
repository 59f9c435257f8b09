"""The pages: views, forms, addresses, templates, scripts. What they keep goes through `trod.catalogue`.

today/ map/ cameras/ maintenance/ planner/ setup_sheet/ rounds/ cards/ review/ questions/ reports/ pictures/ people/
            a room for each work; none imports another
shared/     what several of them need: rights, who may see people, lists, timelines, drawings that stand for pictures
forms/      the forms of records; `common` has units, local times, limits beside the field
pages.py    the heading, the person at the keyboard, theme and units
access.py   who may come in; seen.py: nobody's change is overwritten unseen; refused.py: why something was not saved
server.py   waitress and the worker beside it; worker.py: the process that does the long work
urls.py     every room's addresses; settings.py: Django's settings, all from TROD_HOME and TROD_… variables
"""
