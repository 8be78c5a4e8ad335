"""A shop's stages for the tests of the rules: one that may be skipped, gates of both kinds, and a last one."""

from __future__ import annotations

from portal.rules.policy import GateAt, Stage


def stage(key: str, **more: object) -> Stage:
    """A stage whose label and sentence follow from its key."""
    label = key.replace("_", " ").capitalize()
    return Stage.model_validate({"key": key, "label": {"en": label}, "sentence": {"en": f"{label}."}} | more)


RECEIVED = stage("received", leave=[GateAt(gate="fault_described")])
CLEANING = stage("cleaning", may_be_skipped=True, back_without_reason=True)
BOARD_WORK = stage("board_work")
TESTING = stage("testing", leave=[GateAt(gate="customer_note", when_shut="warn")])
READY = stage("ready", enter=[GateAt(gate="contact_reachable"), GateAt(gate="fault_described", when_shut="warn")])
STAGES = [RECEIVED, CLEANING, BOARD_WORK, TESTING, READY]
