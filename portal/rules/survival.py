"""The product-limit estimate of how long something takes, when some of it has not ended yet.

Kaplan and Meier, Journal of the American Statistical Association 53 (1958) 457–481.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Survival:
    """A step curve: after `times[i]` the chance to last longer is `longer[i]`; 1 before the first."""

    times: np.ndarray
    longer: np.ndarray

    def at(self, time: float) -> float:
        """The chance to last longer than a time."""
        place = int(np.searchsorted(self.times, time, side="right")) - 1
        return 1.0 if place < 0 else float(self.longer[place])

    def remaining(self, chance: float, spent: float) -> float | None:
        """How much longer it takes at most with this chance, given that `spent` has passed; None where nobody knows.

        None, too, where nothing in the past lasted as long as `spent`.
        """
        alive = self.at(spent)
        if alive <= 0.0:
            return None
        under = np.flatnonzero(self.longer <= alive * (1.0 - chance) + 1e-12)
        return None if under.size == 0 else max(float(self.times[under[0]]) - spent, 0.0)

    def equally_likely(self, many: int, spent: float | None = None) -> np.ndarray:
        """So many lengths that it takes, or still takes after `spent`; each as likely as the others, in order.

        Where the estimate does not fall to 0, the longest known stands for what is longer. Empty where nothing in the
        past lasted longer than `spent`.
        """
        alive = 1.0 if spent is None else self.at(spent)
        if self.times.size == 0 or alive <= 0.0 or (spent is not None and spent >= self.times[-1]):
            return np.array([])
        wanted = alive * (1.0 - (np.arange(many) + 0.5) / many)
        places = np.searchsorted(-self.longer, -wanted - 1e-12, side="left")
        return self.times[np.minimum(places, self.times.size - 1)] - (spent or 0.0)


def product_limit(durations: Sequence[float], ended: Sequence[bool]) -> Survival:
    """The estimate from durations, each with whether it ended (else it is censored: it lasted at least so long)."""
    time = np.asarray(durations, dtype=float)
    event = np.asarray(ended, dtype=bool)
    if time.size == 0:
        return Survival(np.array([]), np.array([]))
    times, events = np.unique(time[event], return_counts=True)
    at_risk = time.size - np.searchsorted(np.sort(time), times, side="left")
    return Survival(times, np.cumprod(1.0 - events / at_risk))
