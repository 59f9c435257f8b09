"""Before the walk and between the walks: where a camera goes, what it will see, how long it lasts, who visits when.

In rooms, each of which imports only those above it (docs/shape.md):

    ground     the ground a camera looks over, and its air
    equipment  what is hung there: the camera, its lens, its batteries, its card
    catch      what passes, and whether the camera catches it
    place      how the camera hangs and is set, and what is advised
    last       how long it goes: triggers a day against energy and card
    visit      the visits: when, by whom, in which order, with what

Importing a room imports nothing else of it: the placement planner wants its first answer at once.
"""
