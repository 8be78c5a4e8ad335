"""The bounds that a child process puts on itself before it looks at a stranger's picture."""

from __future__ import annotations

import os
import resource

from portal.pictures.limits import ADDRESSES, SECONDS


def keep_within(memory: int, addresses: int | None = ADDRESSES) -> None:
    """Give way to the pages, and take no more memory (bytes) than this, nor more seconds than a picture may cost.

    `addresses` (bytes of address space) is None for a library that lays claim to more than it uses.
    """
    os.nice(10)
    if addresses is not None:
        resource.setrlimit(resource.RLIMIT_AS, (addresses, addresses))
    resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # a child has no file to write
