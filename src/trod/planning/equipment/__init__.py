"""What is hung there: the camera, its lens, its batteries, its card.

camera     cameras as their makers state them and as they are
optics     what lens and pixels make of a scene
panel      a small solar panel: what it brings in a day
batteries  usable energy by kind, load, cold and age
energy     what a trigger and a day cost
pack_text  a pack of batteries as people write it
card_room  how large files are, how many fit on a card
"""
