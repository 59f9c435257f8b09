"""What time it truly was: how a camera's clock shows that it is wrong, and by how much.

daylight          the offset within a day, by when the camera went over to infrared and back
daylight_changes  a step or a drift of a clock, by the same light
faults            what is wrong with one card's times, and what would put it right
"""
