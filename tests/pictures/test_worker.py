"""The child does the work; whatever happens to it, the parent gets an answer or a sentence."""

from __future__ import annotations

from threading import BoundedSemaphore

import pytest

from portal.pictures import refused, wire, worker
from portal.pictures.limits import Clean
from portal.rules.refusals import Unfit
from tests.pictures.samples import as_bytes, four_corners


def test_a_picture_is_cleaned_in_a_child() -> None:
    cleaned = worker.clean_in_child(as_bytes(four_corners()))

    assert (cleaned.width, cleaned.height) == (800, 600)
    assert cleaned.small.startswith(b"\xff\xd8")


def test_a_childs_refusal_arrives_with_its_words() -> None:
    with pytest.raises(Unfit) as found:
        worker.clean_in_child(b"no picture")

    assert found.value.reasons == (refused.NOT_A_PICTURE,)


def test_a_child_that_dies_is_told_as_a_picture_that_cannot_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    def dying() -> worker.Child:
        child = worker._start()
        child.kill()
        return child

    monkeypatch.setattr(worker, "_next", dying)

    with pytest.raises(Unfit) as found:
        worker.clean_in_child(as_bytes(four_corners()))

    assert found.value.reasons == (refused.TOO_HARD,)


def test_the_next_picture_is_cleaned_after_a_child_was_killed() -> None:
    worker.clean_in_child(as_bytes(four_corners()))
    waiting = worker._ready.get()
    waiting.kill()
    waiting.wait()
    worker._ready.put(waiting)

    assert worker.clean_in_child(as_bytes(four_corners())).width == 800


@pytest.mark.parametrize(
    "answer",
    [Clean(b"L\n{}", b"S", 4, 3, True, False), refused.refuse(refused.too_many_pixels(51, 40))],
    ids=["a picture", "a refusal"],
)
def test_an_answer_goes_over_the_wire_unchanged(answer: Clean | Unfit) -> None:
    back = wire.read(wire.write(answer))

    if isinstance(answer, Unfit):
        assert isinstance(back, Unfit)
        assert str(back) == str(answer)
    else:
        assert back == answer


@pytest.mark.parametrize("out", [b"", b"nonsense", b"{}\n", b'{"large": "x"}\n'])
def test_what_is_no_answer_is_none(out: bytes) -> None:
    assert wire.read(out) is None


def test_one_too_many_in_the_queue_is_asked_to_come_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker, "_queue", BoundedSemaphore(1))
    worker._queue.acquire()

    with pytest.raises(Unfit) as found:
        worker.clean_in_child(as_bytes(four_corners()))

    assert found.value.reasons == (refused.BUSY,)
    worker._queue.release()
    assert worker.clean_in_child(as_bytes(four_corners())).width == 800


def test_a_picture_that_wants_more_memory_than_a_child_may_have_kills_only_its_child(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    poor = (
        "from portal.pictures import limits; limits.MEMORY = 40 << 20; from portal.pictures import child; child.main()"
    )
    monkeypatch.setattr(worker, "_next", lambda: worker._start(["-c", poor]))

    with pytest.raises(Unfit) as found:
        worker.clean_in_child(as_bytes(four_corners(5000, 4000), "PNG"))

    assert found.value.reasons == (refused.TOO_HARD,)
