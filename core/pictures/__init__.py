"""What is drawn, as display lists: sections, panorama, arch map, remaining bone."""
