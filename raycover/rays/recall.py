"""What stands between a place and points, remembered: a unit turned, masked or of another model asks the same rays."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit

Floats = NDArray[np.floating]
#: So many answers are kept, the latest used.
_MOST = 48


class Recall:
    """Answers by place, kind of ray and points; each point of them asked when it is first wanted."""

    def __init__(self) -> None:
        self._known: OrderedDict[object, Floats] = OrderedDict()

    def of(self, unit: Unit, points: Floats, wanted: NDArray[np.intp], ask: Callable[[Floats], Floats]) -> Floats:
        """What `ask` says of a unit's part and points (n, 3) at those wanted (m,): asked once for each."""
        digest = blake2b(np.ascontiguousarray(points).tobytes(), digest_size=16).digest()
        key = (unit.position.tobytes(), unit.kind, unit.frequency_ghz, digest)
        known = self._known.setdefault(key, np.full(len(points), np.nan))
        self._known.move_to_end(key)
        if len(self._known) > _MOST:
            self._known.popitem(last=False)
        new = wanted[np.isnan(known[wanted])]
        if len(new):
            known[new] = ask(points[new])
        return known[wanted]
