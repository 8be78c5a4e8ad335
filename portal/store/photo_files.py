"""The files of photos: in a folder, or any store that fsspec speaks to. Names are ours; a file is whole or absent."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import fsspec

LARGE, SMALL = "large", "small"
SIZES = (LARGE, SMALL)
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)  # how a system says that there is no room

_EXTRAS = {"s3": "s3"}  # the extra of ours that brings the package for a kind of address
# No list is remembered, since other processes write too; and nobody waits for minutes while a store is away.
_OPTIONS: Mapping[str, Mapping[str, Any]] = {
    "s3": {
        "skip_instance_cache": True,
        "use_listings_cache": False,
        "config_kwargs": {"connect_timeout": 5, "read_timeout": 20, "retries": {"max_attempts": 2}},
    },
}


class NoPhotoStore(RuntimeError):
    """The photo store cannot be opened, for example because the package for its kind of address is not installed."""

    def __init__(self, kind: str, why: str) -> None:
        super().__init__(f"Photos cannot be kept at an address of the kind “{kind}”: {why}.")


class StoreSilent(OSError):
    """The photo store does not answer, or not as it should."""


class PhotoFiles:
    """The photo store at a URL: `file:///…` or a plain path for a folder, `s3://bucket/…` with the extra `s3`.

    What goes wrong is raised as OSError: with an errno of FULL where there is no room, StoreSilent where a store on the
    network does not answer.
    """

    def __init__(self, url: str) -> None:
        kind = url.partition("://")[0] if "://" in url else "file"
        try:
            self._files, self._root = fsspec.core.url_to_fs(url, **_OPTIONS.get(kind, {}))
        except ImportError as fault:
            extra = _EXTRAS.get(kind)
            raise NoPhotoStore(kind, f"install benchwindow[{extra}]" if extra else str(fault)) from None
        except ValueError as fault:
            raise NoPhotoStore(kind, str(fault)) from None
        self._is_folder = kind == "file"

    def check(self) -> None:
        """Look whether photos can be kept; quick. A folder is made where there is none, other stores are only asked."""
        if self._is_folder:
            self._files.makedirs(self._root, exist_ok=True)
            if not os.access(self._root, os.W_OK):
                raise PermissionError(f"{self._root} cannot be written; give this user the right")
            return
        with _as_oserror():
            self._files.info(self._root.partition("/")[0])

    def prove(self) -> None:
        """Write something small, read it back, take it away: for whoever looks the installation over."""
        self.check()
        path, content = f"{self._root}/{_PROBE}", b"written by doctor"
        with _as_oserror():
            self._files.pipe_file(path, content)
            found = self._files.cat_file(path)
            self._files.rm_file(path)
        if found != content:
            raise StoreSilent("what was written was not what was read back")

    def write(self, ref: str, size: str, content: bytes) -> None:
        """Keep one picture. A reader never sees half of it."""
        path = self._path(ref, size)
        if not self._is_folder:
            with _as_oserror():
                self._files.pipe_file(path, content)  # an object appears whole
            return
        folder = Path(path).parent
        folder.mkdir(parents=True, exist_ok=True)
        _write_whole(Path(path), content)
        for names in (folder, Path(self._root)):  # what lists the file must outlast a power cut as the file does
            _settle(names)

    def read(self, ref: str, size: str) -> bytes | None:
        """One picture, or None where it is gone."""
        try:
            with _as_oserror():
                content: bytes = self._files.cat_file(self._path(ref, size))
        except FileNotFoundError:
            return None
        return content

    def remove(self, ref: str) -> None:
        """Let go of a photo in every size; what is gone already is no fault."""
        for size in SIZES:
            self.remove_path(self._path(ref, size))

    def all(self) -> Iterator[tuple[str, str, datetime]]:
        """Every file there is: the photo's ref ("" for what is none of ours), its path, and when it was written."""
        with _as_oserror():
            found = self._files.find(self._root, detail=True)
        for path, about in found.items():
            name = path.rpartition("/")[2]
            ref, _, size = name.removesuffix(".jpg").partition("-")
            yield (ref if size in SIZES else ""), path, _written(about)

    def remove_path(self, path: str) -> None:
        """Let go of one file by its path."""
        with contextlib.suppress(FileNotFoundError), _as_oserror():
            self._files.rm_file(path)

    def _path(self, ref: str, size: str) -> str:
        if not ref.isalnum() or size not in SIZES:
            raise ValueError("not the name of a photo")
        return f"{self._root}/{ref[:2]}/{ref}-{size}.jpg"


_PROBE = "doctor.txt"  # what a killed doctor leaves is swept up like any file that is no photo's


@contextlib.contextmanager
def _as_oserror() -> Iterator[None]:
    """Each kind of store has errors of its own, and most of them are no OSError; what they say may hold addresses."""
    try:
        yield
    except (OSError, ValueError):
        raise
    except Exception as fault:
        raise StoreSilent(f"the store does not answer ({type(fault).__name__})") from fault


def _write_whole(path: Path, content: bytes) -> None:
    """Write beside, and give it its name when all of it lies safely on the disk. Raises OSError."""
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def _settle(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _written(about: dict[str, object]) -> datetime:
    when = about.get("mtime") or about.get("LastModified")
    if isinstance(when, datetime):
        return when.astimezone(UTC)
    return datetime.fromtimestamp(float(str(when or 0)), UTC)
