"""The card, kept true: from a card or a folder to plain files in plain folders that can be believed.

card       what lies on a card; never writes to it
names      names from a card made safe for every disk
disk       the few ways this room touches a disk
manifest   the written list: BagIt 1.0 (RFC 8493)
import     copy, hash, flush, read back, then say so; can be broken off and taken up again
making     a bag in the making: its plan and its journal
copying    one read of the source per file; groups of copies made firm together
finishing  the papers of the bag, its place, and what there is to say
result     what an import did, in records and in one sentence
verify     the archive against its manifests: missing, changed, unreadable, unexpected
sidecar    the plain JSON beside the pictures, and the walk that rebuilds a catalogue from folders
backup     a second copy, and the way back

The format on the disk: docs/archive-format.md.
"""
