"""The scanned volume, what is cut from it, and what is found in it from one click."""
