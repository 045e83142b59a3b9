"""Files for other programs: summary, image data, catalogue entries."""
