"""What the policy adds to the privacy notice: what only the shop knows of itself (GDPR Art. 13(1)(a), (b), (f))."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from portal.rules.policy_base import Part, Words

Reached = Annotated[str, StringConstraints(strip_whitespace=True, max_length=254)]


class Privacy(Part):
    """Who answers for data, to whom one may complain, who is handed what."""

    officer: Reached = ""  # how to reach the data protection officer, where there is one
    authority: Words = Field(default_factory=dict)  # to whom to complain; without, the authority where one lives
    receivers: Words = Field(default_factory=dict)  # by name: who carries the mail, who runs the machine
    transfers: Words = Field(default_factory=dict)  # what leaves the country or the EU, and on which footing
    security: Words = Field(default_factory=dict)  # how it is kept safe, for the record of processing
    law: Literal["", "eu", "uk"] = ""  # whose data protection law: for requests; without, by the shop's country
