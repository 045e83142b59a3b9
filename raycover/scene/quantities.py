"""The values a scene file is made of: lengths, points, names. Everything becomes metres and floats here."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from raycover.scene.lengths import NotALength, length_m


def length_from_text(value: Any) -> Any:
    """Metres from a number, or from text with its unit (see `lengths`)."""
    if not isinstance(value, str):
        return value
    try:
        return length_m(value)
    except NotALength as error:
        code = "decimal_comma" if error.comma else "not_a_length"
        raise PydanticCustomError(code, "{what}", {"what": error.what, "help": error.help}) from None


def _no_bool(value: Any) -> Any:
    if isinstance(value, bool):
        raise PydanticCustomError("wrong_type", "expects a number, got {value}", {"value": str(value).lower()})
    return value


def _not_text(value: Any) -> Any:
    if isinstance(value, str):
        raise PydanticCustomError(
            "wrong_type",
            'expects a number, got text "{text}"',
            {"text": value, "help": _as_number(value)},
        )
    return _no_bool(value)


def _as_number(text: str) -> str:
    """How to write what was typed as a plain number."""
    found = re.fullmatch(r"\s*([-+]?\d{1,12}(?:[.,]\d{1,12})?)\s*(%|°\s*C|deg\s*C|C|°|deg|K|dB|s|W|mA)?\s*", text)
    if found is None:
        return "write a plain number, with a point for decimals"
    plain = found[1].replace(",", ".")
    if found[2] == "%":
        return f"a plain number: {float(plain) / 100:g} as a share, {plain} as per cent where the key says so"
    return f"write {plain} " + ("without its unit" if found[2] else "with a point" if "," in text else "without quotes")


#: What file names cannot hold, and what turns the direction of writing: a name would be read as another.
_NOT_IN_NAMES = re.compile(r'[/\\:*?"<>|\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]')


def _name(value: str) -> str:
    if value != value.strip() or not value:
        raise PydanticCustomError("bad_name", "a name is empty or has blanks around it", {"help": "name it"})
    if _NOT_IN_NAMES.search(value) or value.startswith("."):
        raise PydanticCustomError(
            "bad_name",
            'the name "{name}" has a character that file names cannot hold',
            {
                "name": "".join(c if c.isprintable() else "·" for c in value),
                "help": "use letters, digits, blanks, - _ . and the like",
            },
        )
    return value


Number = Annotated[float, BeforeValidator(_not_text), Field(allow_inf_nan=False)]
Length = Annotated[float, BeforeValidator(length_from_text), BeforeValidator(_no_bool), Field(allow_inf_nan=False)]
#: Air of buildings (°C), deep-freeze stores to bakeries.
COLDEST_C, WARMEST_C = -30.0, 50.0
Air = Annotated[Number, Field(ge=COLDEST_C, le=WARMEST_C)]
#: What a length beyond any building means.
CHECK_UNITS = 'check the units: lengths are metres; millimetres are written with their unit ("12000 mm")'
#: No building is larger (m): a coordinate beyond this is a slip of units (millimetres read as metres).
LARGEST_M = 20_000
Coordinate = Annotated[Length, Field(ge=-LARGEST_M, le=LARGEST_M)]
PositiveLength = Annotated[Length, Field(gt=0, le=LARGEST_M)]
NonNegativeLength = Annotated[Length, Field(ge=0, le=LARGEST_M)]
Degrees = Annotated[Number, Field(ge=-3600, le=3600)]
Name = Annotated[str, Field(max_length=80), AfterValidator(_name)]
ShortName = Annotated[str, Field(max_length=40), AfterValidator(_name)]
Point2 = tuple[Coordinate, Coordinate]
Point3 = tuple[Coordinate, Coordinate, Coordinate]


class Strict(BaseModel):
    """A mapping of the scene file: unknown keys are refused, values are never changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def _not_built(value: Any) -> Any:
    raise PydanticCustomError(
        "not_built_yet",
        "this key is part of the format but not built yet",
        {"help": "take it out for now", "key": True},
    )


#: A key that is reserved and refused; messages that list the known keys leave it out.
NotBuiltYet = Annotated[Any, BeforeValidator(_not_built), Field(json_schema_extra={"not_built_yet": True})]
#: The version of a file's format: the number 1, not `true`.
Version = Annotated[Literal[1], BeforeValidator(_no_bool)]
