"""Sounding's showing half: command line and bench. Nothing here computes a measurement."""
