"""What a walk says in words: times and reasons, short enough for tables and pages."""

from __future__ import annotations

import math
from collections.abc import Set

from raycover.walking.declared import Reason


def clock(seconds: float) -> str:
    """Minutes and seconds: 0:34, 15:00; hours where there are any."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def span(seconds: float) -> str:
    """A length of time: 12.3 s, or 15:03 min from a hundred seconds on."""
    return f"{seconds:.1f} s" if seconds < 99.5 else f"{clock(seconds)} min"


def hold_words(seconds: float) -> str:
    """The shortest hold time that keeps a light on, in full seconds, rounded up."""
    return f"{clock(math.ceil(seconds - 1e-6))} min" if seconds >= 1 else "any"


def cause_words(why: Reason, rooms: Set[str] = frozenset()) -> str:
    """Why nobody is noticed; `rooms` are names that mean a room and so its walls, as beside maps."""
    what = f"a wall of {why.blocked_by}" if why.blocked_by in rooms else why.blocked_by
    who = f"{why.detector or ''}{f' ({why.half} half)' if why.half else ''}"
    return {
        "blocked": f"hidden by {what}" if what else f"hidden from {who}",
        "material-loss": f"lost in {what}" if what else f"too weak for {who}",
        "out-of-reach": f"beyond the reach of {who}",
        "outside-lens": f"outside the lens of {who}",
        "masked": f"masked at {who}",
        "too-warm": f"air too warm for {who}",
        "direction": f"{who} does not notice this direction",
        "weak": f"too little signal in {who}",
        "still": f"too little movement for {who}",
        "no-presence": "no detector declares small movements",
        "no-detector": "there is no detector",
    }.get(why.cause, why.cause)
