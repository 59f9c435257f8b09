"""Where facts become sentences, in metric or US units. The core hands facts in and imports nothing of this.

measures   lengths, weights, speeds, temperatures, bearings, hours; and what was typed, read back
"""
