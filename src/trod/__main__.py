"""`python -m trod`: the same as the command `trod`."""

from trod.commands import main

main()
