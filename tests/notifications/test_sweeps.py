"""Sweeps: in their order, each on its own feet, seen to be alive, and held where a clock that jumped would destroy."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine

from notifications.instants import FixedClock
from notifications.sweeps import NoSuchSweep, Registry, Sweep, Tally
from portal.main import Installation
from portal.store.engine import reading, writing

OWNER = "ada@example.org"


class Runs:
    """Remembers which sweep ran when."""

    def __init__(self) -> None:
        self.seen: list[tuple[str, datetime]] = []

    def sweep(self, name: str, *, destroys: bool = False) -> Sweep:
        def run(now: datetime) -> Tally:
            self.seen.append((name, now))
            return Tally(3, 2, 1)

        return Sweep(name, run, destroys=destroys)

    def names(self) -> list[str]:
        return [name for name, _at in self.seen]


@pytest.fixture
def runs() -> Runs:
    return Runs()


@pytest.fixture
def registry(engine: Engine, runs: Runs) -> Registry:
    """Three sweeps, of which the middle one deletes."""
    sweeps = [runs.sweep("remind"), runs.sweep("purge", destroys=True), runs.sweep("send")]
    return Registry(sweeps, lambda: writing(engine), lambda: reading(engine))


def broken(_now: datetime) -> Tally:
    raise KeyError(OWNER)


def test_sweeps_run_in_their_order_whatever_order_they_are_named_in(registry: Registry, runs: Runs, clock: FixedClock):
    told = [name for name, _tally in registry.run(clock.now(), ["send", "remind"])]

    assert told == runs.names() == ["remind", "send"]


def test_an_unknown_sweep_is_refused_before_any_runs(registry: Registry, runs: Runs, clock: FixedClock):
    with pytest.raises(NoSuchSweep, match="remind, purge, send"):
        list(registry.run(clock.now(), ["remind", "sned"]))

    assert runs.seen == []


def test_a_sweep_that_breaks_is_counted_and_the_next_goes_on(
    engine: Engine, runs: Runs, clock: FixedClock, caplog: pytest.LogCaptureFixture
):
    registry = Registry([Sweep("remind", broken), runs.sweep("send")], lambda: writing(engine), lambda: reading(engine))

    told = dict(registry.run(clock.now()))

    assert told == {"remind": Tally(failed=1), "send": Tally(3, 2, 1)}
    assert "KeyError" in caplog.text
    assert OWNER not in caplog.text


def test_each_sweep_leaves_a_heartbeat(registry: Registry, clock: FixedClock):
    list(registry.run(clock.now()))
    clock.at += timedelta(minutes=1)
    list(registry.run(clock.now(), ["send"]))

    assert registry.beats() == {
        "remind": clock.now() - timedelta(minutes=1),
        "purge": clock.now() - timedelta(minutes=1),
        "send": clock.now(),
    }


def test_a_sweep_that_breaks_leaves_none(engine: Engine, clock: FixedClock):
    registry = Registry([Sweep("remind", broken)], lambda: writing(engine), lambda: reading(engine))
    list(registry.run(clock.now()))

    assert registry.beats() == {}


def test_a_sweep_at_a_chosen_time_leaves_none(registry: Registry, clock: FixedClock):
    list(registry.run(clock.now(), explicit=True))

    assert registry.beats() == {}


def set_back(registry: Registry, clock: FixedClock) -> None:
    list(registry.run(clock.now()))
    clock.at -= timedelta(hours=1)


def jump_ahead(registry: Registry, clock: FixedClock) -> None:
    registry.jumped(timedelta(days=3650))
    clock.at += timedelta(days=3650)


@pytest.mark.parametrize("jump", [set_back, jump_ahead])
def test_a_clock_that_jumped_holds_what_deletes_and_says_so(
    registry: Registry,
    runs: Runs,
    clock: FixedClock,
    caplog: pytest.LogCaptureFixture,
    jump: Callable[[Registry, FixedClock], None],
):
    jump(registry, clock)
    runs.seen.clear()

    told = dict(registry.run(clock.now()))

    assert runs.names() == ["remind", "send"]
    assert (told["purge"].failed, told["purge"].done) == (1, 0)
    assert told["purge"].held
    assert not told["remind"].held
    assert f"{told['purge'].held} Nothing is deleted: purge is held." in caplog.text


@pytest.mark.parametrize("jump", [set_back, jump_ahead])
def test_held_sweeps_go_on_when_somebody_says_that_the_clock_is_right(
    registry: Registry, runs: Runs, clock: FixedClock, jump: Callable[[Registry, FixedClock], None]
):
    jump(registry, clock)
    list(registry.run(clock.now()))
    registry.trust_the_clock(clock.now())
    runs.seen.clear()

    told = dict(registry.run(clock.now()))

    assert runs.names() == ["remind", "purge", "send"]
    assert not any(tally.held for tally in told.values())


def test_a_clock_that_was_trusted_and_goes_back_again_is_held_again(registry: Registry, runs: Runs, clock: FixedClock):
    set_back(registry, clock)
    registry.trust_the_clock(clock.now())
    set_back(registry, clock)
    runs.seen.clear()

    list(registry.run(clock.now()))

    assert runs.names() == ["remind", "send"]


def test_a_chosen_time_is_no_jump(registry: Registry, runs: Runs, clock: FixedClock):
    set_back(registry, clock)
    runs.seen.clear()

    list(registry.run(clock.now(), ["purge"], explicit=True))

    assert runs.names() == ["purge"]


def test_a_clock_that_is_put_right_by_a_little_holds_nothing(registry: Registry, runs: Runs, clock: FixedClock):
    list(registry.run(clock.now()))
    clock.at -= timedelta(seconds=30)
    runs.seen.clear()

    list(registry.run(clock.now()))

    assert "purge" in runs.names()


def test_the_installations_sweeps_are_in_the_fixed_order(installation: Installation):
    order = ["remind", "lapse", "forecast", "purge", "tidy", "backup", "send"]
    names = [sweep.name for sweep in installation.sweeps.sweeps]

    assert names == [name for name in order if name in names]
    assert "send" in names


def test_the_installations_sweeps_do_nothing_the_second_time(installation: Installation):
    list(installation.sweep())

    assert {tally.done for _name, tally in installation.sweep()} == {0}
