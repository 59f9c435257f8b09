"""Records made fit to leave the house: sensitive places generalised, and all that would give them away left out.

places  a place, and a line between places
sites   sites and the evidence about them
setups  a placement worked out
rounds  a round
words   words that people wrote, without the coordinates that may stand in them

Whatever leaves (papers, files, exports) is made from the records of this room alone. They cannot be made elsewhere,
so a raw site, plan or setup does not fit into a function of `report` or `exchange` that tells where something is.
"""

from __future__ import annotations

from trod.leaving.places import FitLine, FitPlace, FitToLeave, fit_line, fit_place
from trod.leaving.words import without_places

__all__ = ["FitLine", "FitPlace", "FitToLeave", "fit_line", "fit_place", "without_places"]
