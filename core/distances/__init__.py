"""Distances and angles between the fixture and what is marked: exact geometry, no image."""
