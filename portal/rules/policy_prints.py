"""What the policy says of paper: the docket's usual size, and the labels that the shop's printer holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from portal.rules.policy_base import Key, Part

Millimetres = Annotated[float, Field(ge=15, le=300)]
Offset = Annotated[float, Field(ge=-20, le=20)]
DocketSize = Literal["a4", "letter", "roll80", "roll58"]
# The names of those for what is longer than a receipt roll, or printed at home.
PAGES: Mapping[str, str] = {"a4": "A4", "letter": "Letter"}


class Label(Part):
    """A label in the printer. The offsets move the print right and down, for printers that start too early or late."""

    key: Key
    width_mm: Millimetres
    height_mm: Millimetres
    right_mm: Offset = 0
    down_mm: Offset = 0


class Prints(Part):
    """Paper sizes; the first label is the usual one."""

    docket: DocketSize = "a4"
    labels: list[Label] = Field(
        default=[
            Label(key="wide", width_mm=62, height_mm=35),
            Label(key="square", width_mm=25, height_mm=25),
        ],
        min_length=1,
        max_length=12,
    )

    @property
    def page(self) -> str:
        """The usual size of what does not go on a receipt roll."""
        return self.docket if self.docket in PAGES else "a4"

    def label(self, key: str) -> Label | None:
        """The label with this key, or None."""
        return next((label for label in self.labels if label.key == key), None)
