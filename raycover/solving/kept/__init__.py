"""What was cast before, kept on disk by its content: `store` files, `digests` of values and of the physics,
`surroundings` of what a detector can meet, `answers` that are looked up before they are cast."""
