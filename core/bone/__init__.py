"""Bone as the image shows it: levels, edges, plates, ridge, undercut, bone around a fixture."""
