"""What joins detectors: control lines with their supply, cable and other devices; lighting zones."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from raycover.scene.quantities import Name, Number, Point2, PositiveLength, Strict

#: Resistance of a copper core (Ω/km at 20 °C) by area (mm²): IEC 60228, class 1 and 2, from memory.
OHM_PER_KM = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41}


def _known_area(value: float) -> float:
    if value not in OHM_PER_KM:
        listed = ", ".join(f"{area:g}" for area in OHM_PER_KM)
        raise PydanticCustomError(
            "unknown_area", "{value} mm² is no copper area that is known", {"value": value, "help": f"one of {listed}"}
        )
    return value


Area = Annotated[Number, AfterValidator(_known_area)]
Current = Annotated[Number, Field(ge=0, le=1000)]
BusKind = Literal["button panel", "input unit", "light sensor", "gear", "gateway"]
NameList = Annotated[list[Annotated[str, Field(min_length=1, max_length=80)]], Field(max_length=1000)]


class Cable(Strict):
    """The cable of a line: from its supply to the device furthest away along the cable."""

    length: PositiveLength = Field(description="length of cable from the supply to the furthest device")
    area_mm2: Area = Field(1.5, description="copper area of each core in mm²: 0.5, 0.75, 1, 1.5 or 2.5")
    conductor_c: Annotated[Number, Field(ge=-20, le=90)] = Field(20.0, description="temperature of the copper, °C")


class BusDevice(Strict):
    """Other devices on a line, counted by kind."""

    kind: BusKind = Field(description="button panel, input unit, light sensor, gear or gateway")
    count: Annotated[int, Field(ge=1, le=1000, strict=True)] = Field(1, description="how many of them")
    current_ma: Current | None = Field(None, description="current of one in mA; a usual figure if not given")


class Line(Strict):
    """A two-wire lighting control line (IEC 62386): its supply, its cable, and what hangs on it."""

    name: Name = Field(description="name of the line")
    detectors: NameList = Field(default_factory=list, description="names of detectors, B* for all that begin so")
    supply_ma: Annotated[Number, Field(gt=0, le=250)] = Field(description="current that the supply guarantees, in mA")
    most_ma: Annotated[Number, Field(gt=0, le=250)] = Field(
        250.0, description="largest current the supply can give, in mA; 250 if not known"
    )
    cable: Cable | None = Field(None, description="length and copper area; without it no voltage drop is worked out")
    devices: list[BusDevice] = Field(default_factory=list, max_length=100, description="other devices on the line")


class LightSensor(Strict):
    """A daylight sensor: a place for the schedule; no model of it is worked out."""

    at: Point2 = Field(description="place [x, y]")
    note: str = Field("", max_length=200, description="words for the schedule")


class Zone(Strict):
    """Luminaires that are switched together, and the detectors that switch them."""

    name: Name = Field(description="name of the zone")
    detectors: NameList = Field(min_length=1, description="names of detectors, B* for all that begin so")
    luminaires: str = Field("", max_length=200, description="the luminaires switched, as the lighting plan names them")
    mode: Literal["presence", "absence"] = Field(
        "presence", description="presence: on and off by itself; absence: on by hand, off by itself"
    )
    hold_s: Annotated[Number, Field(ge=1, le=86_400)] | None = Field(None, description="hold time in seconds")
    neighbours: NameList = Field(default_factory=list, description="zones that stay dimmed up while this one is used")
    light_sensor: LightSensor | None = Field(None, description="a daylight sensor of this zone")
    area: list[Point2] | None = Field(
        None, min_length=3, max_length=2000, description="its floor, outline [x, y], for needs of zones"
    )
    rooms: NameList | None = Field(None, min_length=1, description="or rooms by name; with area, those that it lies in")
