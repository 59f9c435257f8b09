"""What the files say: facts of pictures and clips, light, sequences, and how well a camera resolves.

exif            header bytes to facts; the odd habits of makers stay in here
metadata_reader  what a general metadata reader finds in makers' notes: serial, temperature, voltage
picture         one picture: its facts, its light, its thumbnail, from one read
clips           one clip (video): how long, when, its first frame
clip_header     what the header of a clip says, without any library: how long, when, how large
light           what the pixels say: day or infrared, brightness, burnt-out parts, a veil over the lens
strip           the info strips along the top and the bottom of a picture
sequences       pictures close in time to sequences, sequences close in time to detections
resampled       whether a picture was resampled, from the traces of interpolation
untouched       which files that test may judge
target_layout   the printed target's drawing, in millimetres
target_finding  the target found in a photograph, and its edges cut out
edge            how much detail a picture carries, from a slanted edge in it
resolution      what a camera really resolves: one record for page and command
sidebyside      sample pictures of two cameras at the same angular scale
"""
