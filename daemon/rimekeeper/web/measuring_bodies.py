"""What a page or the command line may post about a probe under test, strictly parsed.

A body names stretches of readings and references; it carries no mean, no spread and no result.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from rimekeeper.core.model import Actor, Instant
from rimekeeper.core.sensing.calibration.record import Method
from rimekeeper.core.sensing.calibration.reference import (
    Known,
    boiling,
    boiling_at_altitude,
    compared,
    ice_point,
)
from rimekeeper.review.testing import PointAsked
from rimekeeper.web.commands import FARTHEST, MalformedError, actor_of, said

MOST_POINTS = 12

_At = Annotated[int, Field(ge=0, le=FARTHEST)]
_Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
_Words = Annotated[str, Field(max_length=200)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, str_strip_whitespace=True)


class _Who(_Strict):
    who: Annotated[str, Field(max_length=80)] = ""
    where: Annotated[str, Field(max_length=80)] = ""

    def actor(self, *, trusted: bool) -> Actor:
        """Who did it."""
        return actor_of(self.who, self.where, trusted=trusted)


class _Stretch(_Strict):
    since: _At
    until: _At


class IcePoint(_Stretch):
    """Held in crushed ice."""

    method: Literal["ice point"]

    def known(self) -> Known:
        """Its temperature."""
        return ice_point()


class BoilingPoint(_Stretch):
    """Held in boiling water: the pressure measured at the place, or the altitude alone."""

    method: Literal["boiling point"]
    kilopascal: _Number | None = None
    metres: _Number | None = None

    def known(self) -> Known:
        """Its temperature; raises OutOfRangeError."""
        if (self.kilopascal is None) == (self.metres is None):
            raise MalformedError(
                "Give either the pressure in kPa (kilopascal) or the altitude in metres (metres), not both."
            )
        if self.kilopascal is not None:
            return boiling(self.kilopascal)
        return boiling_at_altitude(self.metres if self.metres is not None else 0.0)


class Compared(_Stretch):
    """Held beside a reference thermometer: what it shows, its expanded uncertainty (k = 2, K), its certificate."""

    method: Literal["comparison"]
    celsius: _Number
    expanded: _Number
    certificate: _Words = ""

    def known(self) -> Known:
        """Its temperature; raises OutOfRangeError."""
        return compared(self.celsius, self.expanded)


_Point = Annotated[IcePoint | BoilingPoint | Compared, Field(discriminator="method")]


class CalibrationBody(_Who):
    """Points for a calibration; kept only with ``keep``, else worked out and shown."""

    points: Annotated[list[_Point], Field(min_length=1, max_length=MOST_POINTS)]
    note: Annotated[str, Field(max_length=2_000)] = ""
    keep: bool = False

    def asked(self) -> tuple[PointAsked, ...]:
        """The points as they are asked for; raises OutOfRangeError, MalformedError."""
        return tuple(
            PointAsked(
                Method(point.method),
                point.known(),
                Instant(point.since),
                Instant(point.until),
                f"certificate {point.certificate}"
                if isinstance(point, Compared) and point.certificate
                else "",
            )
            for point in self.points
        )


class PlungeBody(_Who):
    """A stretch of readings with a plunge in it; kept only with ``keep``."""

    since: _At
    until: _At
    medium: Annotated[str, Field(min_length=1, max_length=80)]
    note: Annotated[str, Field(max_length=2_000)] = ""
    keep: bool = False


Body = TypeVar("Body", bound=_Who)


def parsed(kind: type[Body], body: bytes) -> Body:
    """The body as that kind.

    Raises:
        MalformedError: not JSON, or a field that is missing, unknown or of the wrong kind.
    """
    try:
        return kind.model_validate_json(body)
    except ValidationError as fault:
        raise MalformedError(said(fault, "This is not what can be asked of a probe under test. ")) from None
