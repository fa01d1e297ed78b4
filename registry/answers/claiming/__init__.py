"""Makers' claims held against what was measured."""
