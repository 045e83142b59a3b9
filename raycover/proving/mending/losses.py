"""Whether a place ends with less seen than before, of needs met and of needs missed alike."""

from __future__ import annotations

from raycover.proving.needs import Figures, NeedVerdict, is_met
from raycover.scene.needs import NeedSpec

#: Less by more than a proof's figures are rounded by: a tenth of a per cent of the area, a centimetre of a gap, a walk
#: or a time.
_SHARE, _OTHER = 5e-4, 5e-3
#: A never-area that is tripped may be tripped by so much (dB) more, the way sums are rounded.
_ROUNDING_DB = 1e-9


def is_less(need: NeedSpec, before: Figures, after: Figures, *, whole: bool = True) -> bool:
    """Whether less of a place is seen after than before: a lower share, or a wider gap.

    A walk that is noticed as soon as its need asks has lost nothing; else it must not take longer than before.
    `whole`: all of its cells are judged, else gaps say nothing. Never-areas are none of this.
    """
    if need.never:
        return False
    if need.first_within is not None or need.routes is not None:
        if is_met(need, after):
            return False
        late = [(f.first_m if need.first_within is not None else f.longest_s) or 0.0 for f in (before, after)]
        return late[1] > late[0] + _OTHER
    return after.share < before.share - _SHARE or (whole and after.largest_gap_m > before.largest_gap_m + _OTHER)


def misses_no_more_of(now: NeedVerdict, before: NeedVerdict) -> bool:
    """Whether no place of a need is missed that was met, and none that stays missed has less seen, or trips more."""
    was = {place.site.name: place for place in before.places}
    for place in now.places:
        old = was.get(place.site.name)
        if place.met:
            continue
        if old is None or old.met:
            return False
        if now.need.never and place.figures.worst_db > old.figures.worst_db + _ROUNDING_DB:
            return False
        if is_less(now.need, old.figures, place.figures):
            return False
    return True
