"""Proposing detectors: where they may hang, what each would see, and the fewest that meet the needs."""
