"""Physics of detection: pure arrays in, arrays out; knows no scene and no file."""
