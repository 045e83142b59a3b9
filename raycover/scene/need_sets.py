"""Ready-made sets of needs, as `models/need_sets.yaml` lists them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from raycover.scene.needs import IN_A_ROOM, NeedSpec
from raycover.scene.quantities import ShortName, Strict

#: What a set is asked of: the key that says where it holds.
Asks = Literal["rooms", "stairs", "aisles", "zones", "routes"]
#: What its needs' places are: those of the key itself, or what stands in its rooms.
Places = Literal["rooms", "seats", "cubicles", "stairs", "aisles", "beyond_aisles", "zones", "routes"]
Words = Annotated[str, Field(min_length=1, max_length=600)]
#: What stands beside a need that nobody else's word is behind.
OURS = "ours, no source"


class SetNeed(Strict):
    """One need of a set: its places, the keys of a need as a scene would give them, and why."""

    name: ShortName
    places: Places
    keys: dict[str, Any] = Field(default_factory=dict)
    why: Words
    source: Words = OURS


class NeedSetSpec(Strict):
    """A set of needs for one kind of space."""

    asks: Asks
    needs: list[SetNeed] = Field(min_length=1, max_length=20)
    reason: Words

    def takes(self, key: str) -> bool:
        """Whether a key beside `set:` has something to say to at least one need of it."""
        if key in ("share", "largest_gap", "by"):
            seeing = [need for need in self.needs if need.places != "routes" and "largest_area" not in need.keys]
            return any(not need.keys.get("never") and (key != "largest_gap" or key in need.keys) for need in seeing)
        if key == "whose":
            return any(self._fits(need, key) for need in self.needs)
        return key != "clear_db" or any(need.keys.get("never") for need in self.needs)

    def needs_at(self, name: str, said: NeedSpec) -> list[NeedSpec]:
        """The needs that an entry `{set: …}` stands for; raises pydantic's ValidationError for keys that do not fit."""
        given = said.model_dump(exclude_unset=True, exclude={"set", "name", self.asks})
        where = getattr(said, self.asks)
        found = []
        for need in self.needs:
            keys = {**need.keys, **{key: value for key, value in given.items() if self._fits(need, key)}}
            place = "all" if where is None else where
            if need.places == "cubicles":
                keys |= {"cubicles": "all", **({} if where is None else {"within": where})}
            else:
                keys[need.places] = place
            made = NeedSpec.model_validate(
                {"name": f"{name}, {need.name}", "why": need.why, "source": need.source, **keys}
            )
            found.append(made.model_copy(update={"set": said.set}))
        return found

    @staticmethod
    def _fits(need: SetNeed, key: str) -> bool:
        never = bool(need.keys.get("never"))
        if key in ("share", "by"):
            return not never and need.places != "routes" and "largest_area" not in need.keys
        if key == "largest_gap":
            return key in need.keys
        if key == "whose":
            return not never and need.places in IN_A_ROOM
        return key != "clear_db" or never


class NeedSetsFile(Strict):
    sets: dict[str, NeedSetSpec] = Field(default_factory=dict)
