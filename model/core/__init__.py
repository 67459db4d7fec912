"""Leaves that know nothing of buildings: errors, units, calendars, compiled code."""
