"""How answers look on a terminal: plain words first, then a table that fits 80 columns, then the cautions.

Nothing here talks to a server, and nothing here is needed for `--json`.
"""
