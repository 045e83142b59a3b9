"""The words of a report in a language: sentences by key, figures its way, and sentences of the package translated.

`lang/report/CODE.yaml` holds `texts` (sentences with places for names and figures) and `said` (patterns that turn
the English of proofs, remedies, line checks and drawings into the language, in their order).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from importlib import resources
from pathlib import Path
from typing import Any

from raycover.draw import words as drawn
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.errors import Problem
from raycover.language import Language, language
from raycover.report.content import Column
from raycover.scene.needs import NeedSpec
from raycover.scene.reading import read_yaml
from raycover.scene.schema import AS_DRAWN, Scene
from raycover.signs import minus
from raycover.solving.gaps import Gap

#: A decimal point, and what looks like one in a name: microwave-omni-5.8.
_POINT = re.compile(r"([A-Za-z]-\d+\.\d+)|(?<=\d)\.(?=\d)")
#: A figure by itself, as scale bars and tags of areas have it.
_FIGURE = re.compile(r"[−+±]?\d+\.\d+(?: (?:m|m²|dB|%|s))?|\d+\.\d+ × \d+\.\d+")


#: Figures in a list, whose commas a decimal comma would be taken for.
_LIST = re.compile(r"\d+(?:\.\d+)?(?:, \d+(?:\.\d+)?)+(?= (?:oder|und) \d)")
_IN_QUOTES = re.compile(r'"([^"]+)"')
#: What of a text that is put together is looked up again.
_AGAIN = re.compile("⟨([^⟨⟩]*)⟩")
Patterns = tuple[tuple[re.Pattern[str], str], ...]
#: What stands for a name while patterns are at work on a sentence: letters that no sentence and no font here has.
_STAND_INS = range(0x10600, 0x10737)
#: A name with a level after it.
_LEVEL = re.compile(r"(.* )([−+±]\d+\.\d+(?: m)?)")
#: Keys of a scene that hold what its author called something.
_NAMING = frozenset({"name", "title", "storey", "state_name"})


@dataclass(frozen=True)
class Words:
    """Texts of a report; names and free text are made drawable (`name`), never trusted as markup.

    `names` are those that the scene's author gave: they stay as they are within sentences, too.
    """

    base: Language
    texts: Mapping[str, str]
    patterns: Patterns
    way_patterns: Patterns = ()
    warning_patterns: Patterns = ()
    drawn_patterns: Patterns = ()
    need_sets: Mapping[str, str] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    names: frozenset[str] = frozenset()

    @property
    def code(self) -> str:
        return self.base.code

    def __call__(self, key: str, **values: object) -> str:
        """The sentence of a key with its values filled in. Raises KeyError for an unknown one."""
        return self.texts[key].format(**{name: str(value) for name, value in values.items()})

    def number(self, value: float, digits: int = 1) -> str:
        """A figure with so many decimals and a true minus."""
        text = f"{value:.{digits}f}"
        return minus(self.comma("0" if float(text) == 0 and digits == 0 else text))

    def airs(self, rooms_c: Mapping[str, float]) -> list[str]:
        """Rooms with an air of their own, each with its temperature (°C)."""
        return [f"{name(room)} {self.short(value)} °C" for room, value in rooms_c.items()]

    def short(self, value: float, digits: int = 3) -> str:
        """A figure without zeros at its end."""
        return minus(self.base.number(value, digits))

    def percent(self, share: float) -> str:
        return self.comma(drawn.percent(share))

    def area(self, value: float) -> str:
        """Square metres without their unit."""
        return self.comma(drawn.area(value))

    def margin(self, margin_db: float) -> str:
        return self.texts["no margin"] if not abs(margin_db) < 1e6 else minus(self.comma(f"{margin_db:+.1f}"))

    def point(self, at: tuple[float, ...]) -> str:
        """A place as (x, y) or (x, y, z)."""
        between = "; " if self.base.decimal_comma else ", "
        return f"({between.join(self.number(v, 2) for v in at)})"

    def comma(self, text: str) -> str:
        """Decimal commas where the language has them; a list of figures then has semicolons."""
        if not self.base.decimal_comma:
            return text
        listed = _LIST.sub(lambda found: found[0].replace(", ", "; "), text)
        return _POINT.sub(lambda found: found[1] or ",", listed)

    def state(self, state: str) -> str:
        """A state's name; the one that nobody named is said in the language."""
        return self("as drawn") if state == AS_DRAWN else name(state)

    def said(self, text: str) -> str:
        """A sentence that the package says in English, in this language."""
        return self._about_names(self._sentence, text)

    def way(self, text: str) -> str:
        """A way in words, in this language: what it crosses by kind and material, too."""
        return self._about_names(self._course, text)

    def _sentence(self, text: str) -> str:
        for pattern, instead in self.patterns:
            text = pattern.sub(instead, text)
        return self.comma(text)

    def _course(self, text: str) -> str:
        for pattern, instead in self.way_patterns:
            text = pattern.sub(instead, text)
        return self._sentence(text)

    @cached_property
    def _kept(self) -> re.Pattern[str] | None:
        """Names that patterns would change, the longest first; others need no care."""
        changed = [each for each in self.names if self._course(each) != each]
        either = "|".join(re.escape(each) for each in sorted(changed, key=len, reverse=True))
        return re.compile(rf"(?<!\w)(?:{either})(?!\w)") if changed else None

    def _about_names(self, put: Callable[[str], str], text: str) -> str:
        """A text put into the language, names within it held aside meanwhile."""
        if self._kept is None:
            return put(text)
        found: list[str] = []

        def aside(name: re.Match[str]) -> str:
            found.append(name[0])
            return chr(_STAND_INS[len(found) - 1])

        text = put(self._kept.sub(aside, text, count=len(_STAND_INS)))
        for stand_in, own in zip(_STAND_INS, found, strict=False):
            text = text.replace(chr(stand_in), own)
        return text

    def warning(self, problem: Problem) -> str:
        """What the program warns of, and its advice."""
        message, advice = (self._warned(text) for text in (problem.message, problem.help))
        return f"{message} ({advice})" if advice else message

    def _warned(self, text: str) -> str:
        for pattern, instead in self.warning_patterns:
            if pattern.fullmatch(text):
                return _IN_QUOTES.sub(
                    lambda found: self("quoted", name=found[1]), self.comma(pattern.sub(instead, text))
                )
        return text

    def need(self, need: NeedSpec) -> NeedSpec:
        """A need of a ready-made set with its name and reason in this language; what the scene says itself stays."""
        first, comma, rest = need.name.partition(", ")
        if need.set is not None and first.removeprefix(need.set).strip(" 0123456789") == "":
            first = self.need_sets.get(need.set, need.set) + first.removeprefix(need.set)
        reasons = {key: self.reasons.get(said, said) for key in ("why", "source") if (said := getattr(need, key))}
        named = f"{first}{comma}{self.need_sets.get(rest, rest)}" if need.set is not None else need.name
        return need.model_copy(update={"name": named, **(reasons if need.set is not None else {})})

    def assumed(self, name: str) -> str:
        """The name of a need that nobody wrote down, in this language."""
        return self.need_sets.get(name, name)

    def on_drawing(self, text: str) -> str:
        """A text of a drawing in this language: names stay, figures by themselves get their comma."""
        return self._about_names(self._drawn, text)

    def _part(self, text: str) -> str:
        """A part of a text of a drawing: a name by itself is no word of the sheet's."""
        return text if text in self.names else self._drawn(text)

    def _drawn(self, text: str) -> str:
        if _FIGURE.fullmatch(text):
            return self.comma(text)
        for pattern, instead in self.drawn_patterns:
            if (found := pattern.fullmatch(text)) is not None:
                own, *others = _AGAIN.split(found.expand(instead))
                parts = [self.comma(own)]
                for part, after in zip(others[::2], others[1::2], strict=True):
                    parts += [self._part(part), self.comma(after)]
                return "".join(parts)
        if (level := _LEVEL.fullmatch(text)) is not None:
            return level[1] + self.comma(level[2])
        for pattern, instead in self.patterns:
            if pattern.fullmatch(text):
                return self.comma(pattern.sub(instead, text))
        first, *rest = text.split(" · ")
        return " · ".join(map(self._part, (first, *rest))) if rest else text

    @property
    def wording(self) -> Wording:
        """What puts drawings into this language."""
        return ENGLISH if self.code == "en" else Wording(self.on_drawing, self.said, self.way)

    def cause(self, gap: Gap, rooms: frozenset[str], *, stacked: bool) -> str:
        """Why nobody is noticed in a gap; `rooms` are names that mean a room and so its walls."""
        what = gap.blocked_by or ""
        if what in rooms:
            what = self("a wall or slab of" if stacked else "a wall of", room=what)
        unit = gap.detector or ""
        who = self("half of", unit=unit, half=self.said(gap.half)) if gap.half else unit
        return self(f"cause {drawn.cause_key(gap)}", what=what, who=who, unit=unit)

    def motion(self, motion: str) -> str:
        return self(f"motion {motion}")

    def heights(self, heights: tuple[float, ...], stairs: bool) -> str:
        """Where a map lies: on the floor, at 0.75 m, or a person's heights."""
        shown = [self.short(h) for h in heights]
        if len(shown) > 1:
            return self("at heights", all=", ".join(shown[:-1]), last=shown[-1])
        if heights[0] == 0:
            return self("on the treads" if stairs else "on the floor")
        return self("above the treads" if stairs else "above the floor", height=shown[0])

    def columns(self, *specs: str) -> tuple[Column, ...]:
        """Columns by the keys of their heads: `key` as wide as its text, `key>` figures, `key*2` a share of 2."""
        made = []
        for spec in specs:
            key, _, share = spec.partition("*")
            figures = key.endswith(">")
            made.append(Column(self(key.removesuffix(">")), "right" if figures else "left", float(share or 0)))
        return tuple(made)

    def thousands(self, value: int) -> str:
        """A count with thin spaces between thousands."""
        return f"{value:,}".replace(",", "\u202f")

    def quoted(self, names: list[str]) -> str:
        """Names in quotation marks, as a list in a sentence."""
        return self.listed([self("quoted", name=each) for each in names])

    def listed(self, names: list[str]) -> str:
        return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {self.texts['and']} {names[-1]}"


def name(text: str) -> str:
    """Free text as one line that the fonts of drawings and pages hold."""
    return clean(text)


def worded(scene: Scene, lang: str | None) -> tuple[Words, Scene]:
    """The words of the language asked for, else of the scene's own, and the scene with its ready-made needs named so.

    Raises InputError for a language that there are no words for.
    """
    words = words_for(scene, lang)
    needs = [words.need(need) for need in scene.needs]
    return words, scene.changed({"needs": needs}, scene.state, lambda places: places)


def words_for(scene: Scene, lang: str | None) -> Words:
    """The words of the language asked for, else of the scene's own. Raises InputError for one that has none."""
    asked = scene.project.language if scene.project is not None else None
    words = report_words(lang or asked or "en")
    return (
        replace(words, names=frozenset(_names_in(scene.model_dump(exclude_defaults=True)))) if words.patterns else words
    )


def _names_in(data: object) -> Iterator[str]:
    """What a scene's author named, and called it by: names, titles, storeys, states."""
    if isinstance(data, Mapping) and not data.get("set"):  # the needs of ready-made sets have names of the package's
        for key, value in data.items():
            if key in _NAMING and isinstance(value, str) and any(c.isalpha() for c in value):
                yield value
            yield from _names_in(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from _names_in(value)


@cache
def report_words(code: str) -> Words:
    """The words of a language. Raises InputError for one that there is no file for."""
    base = language(code)
    folder = Path(str(resources.files("raycover"))) / "lang" / "report"
    data = read_yaml(folder / f"{code}.yaml").data
    return Words(
        base,
        {**base.texts, **data["texts"]},
        _patterns(data, "said"),
        _patterns(data, "ways"),
        _patterns(data, "warnings"),
        _patterns(data, "drawn"),
        data.get("need sets") or {},
        data.get("reasons") or {},
    )


def _patterns(data: Mapping[str, Any], key: str) -> Patterns:
    return tuple((re.compile(pattern), instead) for pattern, instead in data.get(key) or ())
