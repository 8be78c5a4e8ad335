"""The demo's album: about two dozen photos, each drawn and cleaned once, then used for every device that it suits."""

from __future__ import annotations

import io
from random import Random

from PIL import Image

from portal.pictures.clean import clean
from portal.pictures.limits import Clean
from portal.pictures.worker import align_in_child
from seed import drawing
from seed.drawing import Colour

BOARDS, TRAYS = 4, 2
_COLOURS: dict[str, Colour] = {
    "white": (232, 230, 224), "black": (52, 54, 58), "blue": (74, 108, 168), "grey": (140, 142, 146),
    "clear": (190, 204, 208), "red": (178, 66, 60), "yellow": (222, 184, 66), "silver": (192, 194, 198),
    "green": (96, 148, 108), "cream": (226, 214, 184), "wooden": (150, 106, 70),
}  # fmt: skip
_OTHER: Colour = (160, 150, 140)
_ASKEW = {"before": 0.4, "after": 1.0}  # nobody holds the phone twice alike

# What a photo shows: a board, a case of a colour, a tray; and which.
View = tuple[str, str]


class Album:
    """Draws and cleans a photo when it is first asked for; the same dice draw the same album."""

    def __init__(self, chance: Random) -> None:
        self._chance = chance
        self._grain = drawing.grain(chance)
        self._photos: dict[tuple[View, str], Clean] = {}
        self._aligned: dict[View, Clean | None] = {}

    def view_of(self, kind: str, device: str) -> View:
        """What is photographed of this device: its case where a colour is told, or one of the boards."""
        colour = next((name for name in _COLOURS if name in device.lower()), "")
        if colour and self._chance.random() < 0.25:
            return "case", f"{kind} {colour}"
        return "board", str(self._chance.randrange(BOARDS))

    def tray(self) -> View:
        """One of the trays."""
        return "tray", str(self._chance.randrange(TRAYS))

    def photo(self, view: View, moment: str) -> Clean:
        """The photo of a view, before or after the repair."""
        if (view, moment) not in self._photos:
            seen = drawing.photographed(_drawn(view, moment), self._chance, self._grain, moved=_ASKEW.get(moment, 0.4))
            self._photos[view, moment] = clean(_jpeg(seen))
        return self._photos[view, moment]

    def aligned(self, view: View) -> Clean | None:
        """The view's after laid over its before, by the same child as on the site; None without OpenCV."""
        if view not in self._aligned:
            self._aligned[view] = align_in_child(self.photo(view, "before").large, self.photo(view, "after").large)
        return self._aligned[view]


def _drawn(view: View, moment: str) -> Image.Image:
    what, which = view
    if what == "tray":
        return drawing.tray(int(which))
    mended = moment == "after"
    if what == "board":
        return drawing.board(int(which), mended=mended)
    kind, _, colour = which.partition(" ")
    return drawing.case(kind, _COLOURS.get(colour, _OTHER), mended=mended)


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=88)
    return out.getvalue()
