"""Help with marking: what one or two clicks propose, found in the image, counting for nothing."""
