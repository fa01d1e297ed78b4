"""Runs the whole main job over HTTP: serve, enrol, declare, upload, ask, and check the answers."""
