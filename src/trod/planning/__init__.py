"""Before the walk: which camera, where and how it is set, and what it would then see.

Read in this order: `camera` (what a maker claims and what is known), `optics`, `detection` (the sensor),
`passers` (who comes by), `crossing` (a path through zone and view, with closed forms), `walkby` and
`dwelling` (the simulations), `calibrate` (what a walk test says of the camera), `ranking`.

Importing this room imports nothing else of it: the placement planner wants its first answer at once.
"""
