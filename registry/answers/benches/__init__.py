"""Clinics and gauges beside each other, and rounds of units that travel."""
