"""Words of schedules and reports in a language, and how it writes numbers; one file a language in `lang/`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.scene.reading import read_yaml


@dataclass(frozen=True)
class Language:
    """`texts` by key; numbers with a decimal comma or point."""

    code: str
    name: str
    decimal_comma: bool
    texts: dict[str, str]

    def __getitem__(self, key: str) -> str:
        return self.texts[key]

    def number(self, value: float, digits: int = 3) -> str:
        """A number with at most so many decimals, no zeros at its end."""
        text = f"{value:.{digits}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        text = "0" if text in ("-0", "") else text
        return text.replace(".", ",") if self.decimal_comma else text


def _folder() -> Path:
    return Path(str(resources.files("raycover"))) / "lang"


def languages() -> list[str]:
    """Codes of the languages there are."""
    return sorted(path.stem for path in _folder().glob("*.yaml"))


@cache
def language(code: str) -> Language:
    """The words of a language. Raises InputError for one that there is no file for."""
    if code not in languages():
        hint = did_you_mean(code, languages())
        raise InputError([Problem("unknown-language", f'no words for the language "{code}"', Position("--lang"), hint)])
    data = read_yaml(_folder() / f"{code}.yaml").data
    return Language(code, data["language"], data["decimal_comma"], data["texts"])
