"""Runs `clean` in a child process of lower priority, bounded in memory and time, so that a hostile one kills only it.

A fresh child for each picture, a few at a time: one dead child of a shared pool would break the whole pool. The next
child is started ahead, since loading the libraries takes longer than most pictures.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from queue import Empty, SimpleQueue
from threading import BoundedSemaphore

from portal.pictures import refused, wire
from portal.pictures.limits import LARGEST_BYTES, SECONDS, Clean
from portal.rules.picture_parts import Drawn, Part
from portal.rules.refusals import Unfit

AT_ONCE = max(1, min(2, os.cpu_count() or 1))
WAITING_AT_MOST = 20  # each waits in a thread of the site, of which there are more
Child = subprocess.Popen[bytes]
_places = BoundedSemaphore(AT_ONCE)
_queue = BoundedSemaphore(WAITING_AT_MOST)
_ready: SimpleQueue[Child] = SimpleQueue()


def clean_in_child(data: bytes) -> Clean:
    """`clean`, in a child, when it is this picture's turn.

    Raises Unfit as `clean` does, and where the picture killed its child, took too long, or too many wait already.
    """
    if len(data) > LARGEST_BYTES:
        raise refused.refuse(refused.too_large(LARGEST_BYTES // 1024**2))
    if not _queue.acquire(blocking=False):
        raise refused.refuse(refused.BUSY)
    try:
        with _places:
            child = _next()
            _ready.put(_start())
            answer = _ask(child, data)
    finally:
        _queue.release()
    if isinstance(answer, Clean):
        return answer
    raise answer or refused.refuse(refused.TOO_HARD)


def align_in_child(before: bytes, after: bytes) -> Clean | None:
    """The after picture laid over the before picture, in a child; both as `clean` made them.

    None where the fit is in doubt, where the extra `align` is not installed, and where the child broke: such a pair is
    shown as it was taken.
    """
    if find_spec("cv2") is None:
        return None
    with _places:
        answer = _ask(_start(("-m", "portal.pictures.align_child")), wire.write_pair(before, after))
    return answer if isinstance(answer, Clean) else None


def draw_in_child(data: bytes, drawn: Drawn, parts: Sequence[Part]) -> Clean:
    """A picture as `clean` made it with parts hidden or pointed out, in a child. Raises Unfit where that broke."""
    with _places:
        answer = _ask(_start(("-m", "portal.pictures.drawing_child")), wire.write_drawing(data, drawn, parts))
    if isinstance(answer, Clean):
        return answer
    raise refused.refuse(refused.NOT_DRAWN)


def _ask(child: Child, data: bytes) -> Clean | Unfit | None:
    try:
        out, _ = child.communicate(data, timeout=SECONDS)
    except (subprocess.TimeoutExpired, OSError):
        out = b""
    finally:
        _end(child)
    return wire.read(out) if child.returncode == 0 else None


def _next() -> Child:
    """A child that is waiting, or a fresh one."""
    while True:
        try:
            child = _ready.get_nowait()
        except Empty:
            return _start()
        if child.poll() is None:
            return child
        _end(child)


def _start(program: Sequence[str] = ("-m", "portal.pictures.child")) -> Child:
    return subprocess.Popen(  # noqa: S603 (our own)
        [sys.executable, *program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )


def _end(child: Child) -> None:
    with child:  # closes its pipes and waits for it
        child.kill()


@atexit.register
def dismiss() -> None:
    """End the child that waits for the next picture."""
    while not _ready.empty():
        _end(_ready.get())
