"""How a fault is logged: where it broke, never what the error says, since that may name a customer."""

from __future__ import annotations

import logging
import traceback

log = logging.getLogger(__name__)


def log_fault(what: str, fault: BaseException) -> None:
    """Log what went wrong, the kind of error and where it broke."""
    where = "".join(traceback.format_tb(fault.__traceback__))
    log.error("%s: %s\n%s", what, type(fault).__name__, where)
