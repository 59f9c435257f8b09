"""Figures drawn by one pen, in the colours of one palette.

palette      every colour, by day, by night and on paper
pen          shapes and words to an SVG: escaping, rounding, hatching, a title for those who do not see it
scales       a value's place along an axis, and the round steps to mark there
intervals    a rate at several independence intervals
panels       small charts of one size and one scale, one for each part of a record
year         a site's year, week by week: how much was watched, what came
placement    a placement from above and from the side, its sun through the year
silhouettes  animals in outline
"""
