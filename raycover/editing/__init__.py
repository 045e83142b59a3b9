"""A coverage that follows edits, and edits that find their way into the file."""
