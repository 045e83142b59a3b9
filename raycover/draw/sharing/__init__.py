"""A solved scene to hand on: a model for slides and browsers (GLB), a page that opens anywhere (HTML)."""
