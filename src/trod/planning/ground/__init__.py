"""The ground a camera looks over, and its air.

site        slope, path, tree, cover, snow, and the hills around
heightgrid  a grid of heights, and the hill horizon seen from a point
weather     how cold the nights are, by month
"""
