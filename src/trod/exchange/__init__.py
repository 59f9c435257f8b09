"""Evidence and records in open formats, for other programs and for other people.

folder          a folder of tables with every column described
tables          plain tables as CSV (RFC 4180)
effort_days     effort by day as a table
gpx             GPX 1.1: places, routes and tracks out, tracks in
geojson         GeoJSON (RFC 7946)
icalendar       iCalendar (RFC 5545), for the week of a round
darwin_core     records as a Darwin Core archive
package_tables  the columns of the open camera-data standard, and what may stand in them
package_out     a package of that standard as files
package_check   whether a folder is such a package: our own check of every rule
records_source  what lies at a path: a package, or records in one CSV file
records_in      somebody else's records read: each row held against what it must say
records_flat    records in one CSV file, each row as a row of the standard's observations
stated          what such records state, and the rows that say too little
"""

from __future__ import annotations
