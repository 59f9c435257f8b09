"""The parts of benchmarks/faults.py: faults made by seed, and an independent book of what must be there."""
