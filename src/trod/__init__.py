"""Trod: from the cards of motion-triggered cameras to a verified archive, sorted sequences and honest answers."""

import os

__version__ = "0.2.0"

# Trod's matrices are small (some tens of rows). A linear algebra library that spreads each over all cores waits for
# them on a busy machine: the yearly fit takes 10 to 100 times as long. It reads this when NumPy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
