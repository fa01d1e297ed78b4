"""The invented community: clinics and gauges, pumps as they are really built, units, and who records what."""
