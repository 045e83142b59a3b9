"""Questions asked of a scene or of what was solved: one point, a lobe, a section, other settings."""
