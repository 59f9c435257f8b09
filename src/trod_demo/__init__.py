"""The invented reserve and its rendered pictures: for trying Trod, for tests and for benchmarks.

places reserve    the map of Eskerwold; its sites, species, cameras, and the year's deployments and visits
gear              the invented makers, their cameras, and those that Eskerwold owns
camera_models     a dozen invented kinds of camera, for trying the placement planner
wildlife weather  the species that come, when and how they move; the year's weather by the hour
past upkeep       who stood where, what went wrong; nights, lanes, what to know of each site
story             what happens in front of each camera

shots view        one picture before it is drawn; world metres to picture pixels
daylight          where sun and moon stand
scene scenery     one picture rendered; the still part of each site, painted once and kept
easel fittings    brushes for the scenery; things that stand on the sites
bodies builds     jointed bodies at true scale; how each four-footed kind is built
quadrupeds        four-footed animals posed
others animals    what is not four-footed, posed; one way in for all kinds
figures strip     a body painted into a picture; the info strip along its bottom
sheet             a contact sheet of the pictures

cards truth       memory cards as DCF folders of real JPEG files; the truth of each picture, kept beside
identifications   what the invented technicians say about the sequences
rows              the reserve as rows; its pictures come in through the import that a real card takes
rows_maintenance  stock, incidents and locks as rows

Nothing in this room is real: the place, the people, the makers and every picture are made up. Only the species are not.
Figures given here (rates, hours, sizes) are ours, chosen to look likely; none of them is data.
"""
