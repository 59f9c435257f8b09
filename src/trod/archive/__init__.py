"""The card, kept true: from a card or a folder to plain files in plain folders that can be believed.

card         what lies on a card; never writes to it
names        names from a card made safe for every disk
disk         the few ways this room touches a disk
manifest     the written list: BagIt 1.0 (RFC 8493)
card_import  copy, hash, flush, read back, then say so; can be broken off and taken up again
making       a bag in the making: its plan and its journal
copying      one read of the source per file; groups of copies made firm together
finishing    the papers of the bag, its place, and what there is to say
result       what an import did, in records and in one sentence
verdict      whether the card may be formatted: one rule for sentence, JSON, status and page
content      what a file is, by its first and last bytes
times        when a file of a card was last changed, as its disk said it
folders      which folders of the archive hold bags
papers       ledger, sidecars, identifications: written, appended to, taken away under the register
rows         the records in a paper by their keys: what a new state of it would lose
earlier      earlier states of papers, kept below `.papers/`
register     the list of all that must be there, kept twice
standing     the archive against its register
verify       the archive against its manifests: missing, changed, unreadable, unexpected
sidecar      the plain JSON beside the pictures, and the walk that rebuilds a catalogue from folders
fieldnotes   what phones and sheets said of visits, and their photos
formats      the number of the format, what lifts an older one, what refuses a newer one
upgrade      an archive of an older format brought up in place, its papers as they were kept
backup       a second copy, and the way back

The format on the disk: docs/archive-format.md.
"""
