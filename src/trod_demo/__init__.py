"""The invented reserve and its rendered pictures: for trying Trod, for tests and for benchmarks.

Nothing in this room is real: the place, the people, the makers and every picture are made up.
Only the species are not. Figures given here (rates, hours, sizes) are ours, chosen to look likely;
none of them is data.
"""
