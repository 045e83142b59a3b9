"""What a scene file may say, reading it, and checking it."""
