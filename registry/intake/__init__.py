"""Receive a trace: check, store, measure, summarise; load the catalogue; declare gauges; enrol people."""
