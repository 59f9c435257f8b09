"""The visits: when, by whom, in which order, with what.

kit          what goes into the car, what to mind
ordering     the search for who, when, in which order
spares       what to carry, by risk
upkeep       when to visit: the chance of a stop against the price of going
maintenance  what a year of cameras costs and shows
fixes        what fresh batteries, a bigger card or a trimmed branch is worth
sharing      so many trips and no more, shared out
travel       metres and minutes from site to site
tracks       the reserve's tracks as a network
rounds       a round: cameras, days, people, order
byhand       a trip in an order a person chose
cardchain    which card is where
"""
