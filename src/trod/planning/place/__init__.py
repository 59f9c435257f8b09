"""How the camera hangs and is set, and what is advised.

glare      sun in the lens, flash at night, the dates of the seasons
mounting   tilt, wedge, ground seen, snow, branch, trunk
advice     the records of a placement
placement  one camera, one place, one animal, one way to hang it
adviser    which settings, and their price
inputs     what is entered on the planner
steps      the walks of a walk test, the cautions
setup      all of it together, for one camera at one place
chance     how likely it catches what passes, month by month, with its doubt
season     where to set a camera next
"""
