"""What passes, and whether the camera catches it.

passers      a body, how it moves, how warm it stands out
animals      animals for planning: how tall, how long
crossing     a straight path through detection zone and field of view
detection    the passive-infrared sensor
walkby       animals that pass, simulated
dwelling     animals that stay, simulated
calibrate    what walk tests say of a trigger time, a zone, a range
herdview     how much of a herd is seen from a height
ranking      which camera for which use
"""
