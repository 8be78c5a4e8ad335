"""What the photo store and the rows hold, for tests of photos."""

from __future__ import annotations

import errno
import io

import pytest
from PIL import Image

from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, find
from portal.pictures.limits import Clean
from portal.store import photo_pairs, photos
from portal.store.photo_files import PhotoFiles
from portal.store.photo_pairs import Pair
from portal.store.photos import Photo
from tests.conftest import BENCH


def as_clean(picture) -> Clean:
    """A picture as it is kept, without the way there."""
    out = io.BytesIO()
    Image.fromarray(picture).resize((800, 600)).save(out, "JPEG", quality=85)
    return Clean(out.getvalue(), out.getvalue(), 800, 600, False, False)


def keep(desk: Desk, files: PhotoFiles, number: str, picture: Clean, moment: str) -> str:
    """Keep a photo and tell its ref."""
    photo_deeds.keep(desk, files, BENCH, number, picture, moment=moment)
    return kept(desk, number)[-1].ref


def kept(desk: Desk, number: str) -> list[Photo]:
    with desk.reading() as connection:
        return photos.of_ticket(connection, find(connection, number).id)


def pairs(desk: Desk, number: str) -> list[Pair]:
    with desk.reading() as connection:
        return photo_pairs.of_ticket(connection, find(connection, number).id)


def names(files: PhotoFiles) -> set[str]:
    """The refs of all files there are."""
    return {ref for ref, _path, _written in files.all()}


def no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on the store takes the first file of a picture, and is full at its second."""
    whole = PhotoFiles.write

    def full(self: PhotoFiles, ref: str, size: str, content: bytes) -> None:
        if size == "small":
            raise OSError(errno.ENOSPC, "No space left on device")
        whole(self, ref, size, content)

    monkeypatch.setattr(PhotoFiles, "write", full)
