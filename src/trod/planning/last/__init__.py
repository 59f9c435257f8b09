"""How long it goes: triggers a day against energy and card.

arrivals          triggers a day, before and after the first card
stopping          the simulation of many futures
endurance         which day a camera stops, and why
battery_evidence  what a camera draws, learnt from how batteries ended
outfit_change     what would be set otherwise
"""
