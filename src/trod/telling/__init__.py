"""Where facts become sentences, in metric or US units. The core hands facts in and imports nothing of this.

measures       lengths, weights, speeds, temperatures, bearings, hours; and what was typed, read back
placement      how a camera is to be hung, piece by piece, and in two sentences
settings       what to set, why, at what price
setups         all of a setup: what it gives, the walk test, what to mind, what it supposes
herds          how much of a herd is seen
glare          the sun in and near the picture
season         why a place promises much or little in a month
ranking        why a camera stands in its place for a use
calibrations   what walks and counted pictures say of a camera
what_comes     what comes here: the answer by species
when           when they come: the answer by hours
change         whether they come more or less often than before: the answer
first_last     what came first and last in each season: the answer
equal_cameras  the rate as if every camera were equally good: the answer
two_sides      two periods or two sites side by side: the answer
panels         sites, seasons or years side by side: the answer
since          what changed since an answer was kept, and why it may have
site_year      a site's year: its sentence, what limits its counts, the lines of its diary
overlap        how far two sides share their hours: the answer
shared         what was asked, of whom, what limits an answer: what every question says
intervals      what the independence interval does to a rate
endurance      when a camera will stop, and what that rests on
upkeep         when to go to a camera, or to all of them, and why then
rounds         what a round brings, why a stop was left out, what does not fit in an order chosen by hand
due            why a site is due for a visit, and what is to be done there
kit            what to carry on a round, and what to mind on it
maintenance    how often a camera is lost, how long batteries lasted, what a year cost
cardchain      where a card is, and what does not go together about it
file_facts     what the files of a card say besides: temperature, voltage, another camera's serial
clock_faults   what a card's times show of its camera's clock, and what would put it right
ways           how ways were worked out, why no way leads to a place
"""
