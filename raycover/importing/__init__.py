"""Plans that others drew, as scene files: `ifc` reads building models; `scene_text` writes the scene."""
