"""Who trips whom: from each aisle or zone, and the floor beyond, the share from which each unit trips."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raycover.proving.sites import Site
from raycover.proving.situations import Situation
from raycover.scene.air import air_of

Floats = NDArray[np.floating]
#: What a unit tripped from a row means: it belongs there, it belongs to another row, it belongs to none.
WANTED, UNWANTED, NEITHER = 1, -1, 0
#: A unit that belongs to no row is shown where it trips from at least this share of one.
_WORTH_SHOWING = 0.005


@dataclass(frozen=True)
class Matrix:
    """Of one set of needs: `share` (n_rows, n_units) of each row's floor from which a unit trips.

    `rows` are names of places, `units` of units; `kind` (n_rows, n_units) is WANTED, UNWANTED or NEITHER. `area_m2`
    (n_rows,) is the floor judged; `air` is that of its state, in words.
    """

    title: str
    rows: tuple[str, ...]
    units: tuple[str, ...]
    share: Floats = field(repr=False)
    kind: NDArray[np.int8] = field(repr=False)
    area_m2: Floats = field(repr=False)
    air: str
    state: str = ""

    @property
    def lacking(self) -> tuple[str, ...]:
        """Rows that no unit of their own trips from."""
        seen = ((self.kind == WANTED) & (self.share > 0)).any(axis=1)
        return tuple(name for name, some in zip(self.rows, seen, strict=True) if not some)

    @property
    def crossing(self) -> tuple[tuple[str, str, float], ...]:
        """(row, unit, share) of every unwanted trip, the worst first."""
        found = [(self.rows[i], self.units[k], float(self.share[i, k])) for i, k in np.argwhere(self.unwanted)]
        return tuple(sorted(found, key=lambda one: -one[2]))

    @property
    def unwanted(self) -> NDArray[np.bool_]:
        """(n_rows, n_units) trips of units that belong to another row."""
        return np.asarray((self.kind == UNWANTED) & (self.share > 0))


def make_matrix(
    title: str, sites: Sequence[Site], situation: Situation, known: Mapping[tuple[str, int], Floats]
) -> Matrix:
    """The matrix of some places; `known` are margins (n,) by name of a place and index of a unit, others are cast."""
    names = [unit.name for unit in situation.units]
    owned = {name for site in sites for name in (*site.own, *site.others)}
    share = np.zeros((len(sites), len(names)))
    for i, site in enumerate(sites):
        for k, unit in enumerate(situation.units):
            margin = known.get((site.name, k))
            if margin is None:
                margin = situation.margin_db(unit, site)
            share[i, k] = float(site.area[margin >= 0].sum() / site.area.sum())
    kind = np.array(
        [[WANTED if n in site.own else UNWANTED if n in owned else NEITHER for n in names] for site in sites]
    )
    shown = [k for k, name in enumerate(names) if name in owned or share[:, k].max() >= _WORTH_SHOWING]
    # units in the order of the rows they belong to, those of none last
    home = [next((i for i, site in enumerate(sites) if names[k] in site.own), len(sites)) for k in shown]
    order = [shown[j] for j in np.argsort(home, kind="stable")]
    return Matrix(
        title,
        tuple(site.name for site in sites),
        tuple(names[k] for k in order),
        share[:, order],
        kind[:, order].astype(np.int8),
        np.array([float(site.area.sum()) for site in sites]),
        air_of(situation.scene),
        situation.scene.state if situation.scene.states else "",
    )
