"""What the running site writes to its log: our own news, and of everybody else's only what is wrong.

Other libraries log addresses, headers and numbers when they are asked for news; ours name events, counts and ids only.
"""

from __future__ import annotations

import logging
import time

OURS = ("portal", "notifications")


def to_stderr() -> None:
    """Log to stderr, in UTC: for `serve`, its workers and the clock."""
    handler = logging.StreamHandler()
    form = logging.Formatter("%(asctime)sZ %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S")
    form.converter = time.gmtime
    handler.setFormatter(form)
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
    for name in OURS:
        logging.getLogger(name).setLevel(logging.INFO)
