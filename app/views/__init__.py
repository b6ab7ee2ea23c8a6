"""The pictures: sections, neighbours, arch map, panorama."""
