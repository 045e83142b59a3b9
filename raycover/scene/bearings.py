"""Directions in plan as eight points of the compass."""

from __future__ import annotations

_NAMES = ("north", "north-west", "west", "south-west", "south", "south-east", "east", "north-east")


def compass(direction_deg: float, north_deg: float) -> str:
    """The point of the compass nearest to a direction, both anticlockwise from +x in degrees."""
    return _NAMES[round(((direction_deg - north_deg) % 360) / 45) % 8]
