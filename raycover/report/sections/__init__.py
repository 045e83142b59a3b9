"""Sections of a report, each from what was gathered; none draws and none casts."""
