"""What time it truly was: how a camera's clock shows that it is wrong, and by how much.

daylight   the offset within a day, by when the camera went over to infrared and back
"""
