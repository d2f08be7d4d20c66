"""The face that every result shows: frozen, JSON-clean, with an interval that states its sidedness."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

JSON = None | bool | int | float | str | list["JSON"] | dict[str, "JSON"]
Sides = Literal["two-sided", "lower", "upper"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A point estimate with its confidence limits.

    estimate : the point estimate; None where it does not exist (d' when all answers are correct)
    low, high : confidence limits; None on the open side of a one-sided limit
    confidence : coverage of the interval, 0..1
    sides : "two-sided", "lower" (only `low` is a limit) or "upper" (only `high` is)
    how : the method of the interval
    """

    estimate: float | None
    low: float | None
    high: float | None
    confidence: float
    sides: Sides = "two-sided"
    how: str = ""

    def to_dict(self) -> dict[str, JSON]:
        """The estimate in plain JSON types."""
        return {field.name: plain(getattr(self, field.name)) for field in dataclasses.fields(self)}


class Result:
    """What all results share. Subclasses are frozen dataclasses with fields `method` and `notes`."""

    __slots__ = ()
    method: str
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, JSON]:
        """Every field in plain JSON types; not-a-number and infinities become None."""
        fields: dict[str, JSON] = {"result": type(self).__name__}
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            fields[field.name] = plain(getattr(self, field.name))
        fields["sentence"] = self.sentence()
        return fields

    def sentence(self) -> str:
        """One sentence that a reader understands and a statistician would sign."""
        raise NotImplementedError(f"{type(self).__name__} states no finding")


def plain(value: Any) -> JSON:
    """`value` in types that the json module writes without help."""
    if isinstance(value, Result | Estimate):
        return value.to_dict()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Enum):
        return plain(value.value)
    return _plain_number_or_collection(value)


def _plain_number_or_collection(value: Any) -> JSON:
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return plain(value.tolist())
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, dict):
        return _plain_mapping(value)
    if isinstance(value, list | tuple | set | frozenset | range):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no JSON form: {value!r}")


def _plain_mapping(value: Mapping[Any, Any]) -> dict[str, JSON]:
    return {str(key): plain(item) for key, item in value.items()}
