"""Names of new units: in line with those of the same technology that are there."""

from __future__ import annotations

import re
from collections.abc import Iterable

#: Letter of units that nothing there is named like; proposed layouts use it too.
LETTER = "D"


def next_name(there: Iterable[tuple[str, str]], kind: str) -> str:
    """A free name for one more unit of a technology, `there` being (name, technology) of those there are.

    The next number of the series that most names of its technology belong to, else of D1, D2, ….
    """
    known = [(name, re.fullmatch(r"(.*?)(\d+)", name), of) for name, of in there]
    leads = [found[1] for _, found, _ in known if found]
    own = [found[1] for _, found, of in known if found and of == kind]
    lead = max(sorted(set(own)), key=lambda one: (own.count(one), leads.count(one)), default=LETTER)
    number = max((int(found[2]) for _, found, _ in known if found and found[1] == lead), default=0) + 1
    taken = {name for name, *_ in known}
    while f"{lead}{number}" in taken:
        number += 1
    return f"{lead}{number}"
