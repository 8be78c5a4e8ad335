"""What the policy says of messages: when they may go out, how long news gathers, and by which channels."""

from __future__ import annotations

from datetime import time
from decimal import Decimal

from pydantic import Field, StrictBool, model_validator

from portal.rules.messages import Channel
from portal.rules.policy_base import NotAllowed, Part, TimeOfDay
from portal.rules.sentences import say


class Messages(Part):
    """When and how customers hear from the shop. What is urgent goes out at any hour."""

    day_begins: TimeOfDay = time(8)  # in the shop's own time
    day_ends: TimeOfDay = time(20)  # 23:59:59 for no quiet evening
    on_closed_days: StrictBool = False  # messages go out on days on which the shop does not open, too
    gather_minutes: int = Field(default=10, ge=0, le=240)  # notes and photos of so many minutes make one message
    sms_price: Decimal | None = Field(default=None, ge=0, le=100)  # of one text, in the shop's currency; None: unknown
    channels: list[Channel] = Field(default=[Channel.MAIL, Channel.SMS, Channel.RING], min_length=1, max_length=4)

    @model_validator(mode="after")
    def _in_order(self) -> Messages:
        if self.day_begins >= self.day_ends:
            raise NotAllowed(
                say(
                    "messages from {begins} to {ends}",
                    begins=f"{self.day_begins:%H:%M}",
                    ends=f"{self.day_ends:%H:%M}",
                ),
                say("“day_begins” earlier than “day_ends”; 00:00:00 and 23:59:59 for any hour"),
            )
        return self

    @model_validator(mode="after")
    def _each_channel_once(self) -> Messages:
        twice = sorted({channel for channel in self.channels if self.channels.count(channel) > 1})
        if twice:
            raise NotAllowed(say("the channel “{channel}” twice", channel=twice[0].value), say("each channel once"))
        return self
