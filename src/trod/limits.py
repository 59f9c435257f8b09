"""How much Trod takes at once: one number in one place, and docs/limits.md says the same (a test reads it).

What is beyond is refused in words before it is unpacked or read whole. Sizes are in bytes of 1000 × 1000 to the MB, as
disks are sold and as pages say them.
"""

from __future__ import annotations

# Through the browser.
REQUEST_BYTES = 132_000_000  # one request in all: the largest file below and the form around it
BODIES_BYTES = 2_000_000_000  # requests on their way in, all together; they lie on the disk meanwhile
HEADERS_BYTES = 64_000
FORM_BYTES = 2_500_000  # what is typed into one form, without its files
FORM_FIELDS = 5000
FORM_FILES = 40
CONNECTIONS = 400
CONNECTIONS_OF_ADDRESS = 100

# Lists, tracks and tables.
LIST_BYTES = 1_000_000
LIST_LINES = 2000

# Height grids.
HEIGHTS_PAGE_BYTES = 40_000_000
HEIGHTS_FILE_BYTES = 400_000_000
HEIGHTS_CELLS = 40_000_000

# Pictures brought to measure a camera by, and pictures of cards.
TARGET_BYTES = 40_000_000
TARGET_PIXELS = 64_000_000
CARD_PICTURE_BYTES = 268_435_456
CARD_PICTURE_PIXELS = 170_000_000
CARD_PICTURE_PIXELS_WHOLE = 40_000_000

# What comes home from the field.
FIELD_FORM_BYTES = 128_000_000
FIELD_FORM_VISITS = 1000
FIELD_FORM_PHOTOS = 24
FIELD_FORM_PHOTO_BYTES = 4_000_000
HAND_IN_BYTES = 64_000_000

# Guessing at passwords.
WRONG_PASSWORDS_OF_PAIR = 8
WRONG_PASSWORDS_OF_ADDRESS = 40
WRONG_PASSWORDS_OF_NAME = 60
WRONG_PASSWORDS_WAIT_S = 300
