"""Changes HEIC files box by box (ISO/IEC 14496-12 and 23008-12), since the encoder at hand cannot make all there is."""

from __future__ import annotations

from dataclasses import dataclass

# What turns a picture that is stored in one of the eight ways of EXIF upright: quarter turns against the clock (irot),
# and the axis of a mirror after that (imir; 0: top and bottom change places, 1: left and right).
TURNS: dict[int, tuple[int, int | None]] = {
    1: (0, None),
    2: (0, 1),
    3: (2, None),
    4: (0, 0),
    5: (1, 0),
    6: (3, None),
    7: (3, 0),
    8: (1, None),
}


@dataclass
class Box:
    """A box: its four letters and what is in it."""

    name: bytes
    body: bytes

    def __bytes__(self) -> bytes:
        return (8 + len(self.body)).to_bytes(4, "big") + self.name + self.body


def read(data: bytes) -> list[Box]:
    """The boxes that lie in these bytes, one after the other."""
    boxes, at = [], 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        boxes.append(Box(data[at + 4 : at + 8], data[at + 8 : at + size]))
        at += size
    return boxes


def turned(heic: bytes, orientation: int) -> bytes:
    """The HEIC with the properties that tell a viewer to turn its picture, which itself stays as it is stored."""
    quarters, axis = TURNS[orientation]
    added = [Box(b"irot", bytes([quarters]))] if quarters else []
    added += [] if axis is None else [Box(b"imir", bytes([axis]))]
    return _with_properties(heic, added)


def with_box(heic: bytes, name: bytes, body: bytes) -> bytes:
    """The HEIC with one more box at its end."""
    return heic + bytes(Box(name, body))


def _with_properties(heic: bytes, added: list[Box]) -> bytes:
    top = read(heic)
    meta = next(box for box in top if box.name == b"meta")
    children = read(meta.body[4:])
    properties = next(box for box in children if box.name == b"iprp")
    container, associations = read(properties.body)
    first = len(read(container.body)) + 1
    container.body += b"".join(bytes(box) for box in added)
    assert associations.body[:8] == bytes(7) + b"\x01", "one item, with one byte for each of its properties"
    count = associations.body[10]
    names = bytes(0x80 | (first + place) for place in range(len(added)))  # essential: a viewer must heed them
    associations.body = associations.body[:10] + bytes([count + len(added)]) + associations.body[11:] + names
    properties.body = bytes(container) + bytes(associations)
    longer = sum(len(bytes(box)) for box in added) + len(added)
    _move_items(next(box for box in children if box.name == b"iloc"), longer)
    meta.body = meta.body[:4] + b"".join(bytes(box) for box in children)
    return b"".join(bytes(box) for box in top)


def _move_items(places: Box, by: int) -> None:
    """The items' bytes lie further back (ItemLocationBox, version 0 or 1, offsets of four bytes, one extent each)."""
    body, version = bytearray(places.body), places.body[0]
    assert body[4] == 0x44
    entry = 8
    for _ in range(int.from_bytes(body[6:8], "big")):
        offset = entry + (2 if version == 0 else 4) + 2 + (body[5] >> 4) + 2
        body[offset : offset + 4] = (int.from_bytes(body[offset : offset + 4], "big") + by).to_bytes(4, "big")
        entry = offset + 8
    places.body = bytes(body)
