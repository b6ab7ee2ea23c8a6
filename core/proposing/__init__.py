"""A first jaw, jaw plane and arch from the image, so that pictures are there before any click."""
