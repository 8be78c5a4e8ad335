"""The docket that goes with the first mail: the owner’s paper as PDF, or as HTML where that extra is missing."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlsplit

from notifications.letters import Attachment
from portal.language import language
from portal.letters import paper
from portal.letters.rendering import sheet
from portal.letters.told import Facts, Letterbox, Told
from portal.qr import QUIET_ZONE, modules, svg
from portal.rules.numbers import spoken
from portal.rules.print_sizes import LARGEST_CODE_MM, module_mm
from portal.rules.sentences import say

IS_ATTACHED = say("Your docket is attached, to keep or to print.")


def attached(desk: Letterbox, told: Told, context: Facts) -> Sequence[Attachment]:
    """The docket, for the owner: whoever has it may answer for the visit, which not every second person may."""
    if told.contact.role != "owner":
        return ()
    page = docket(desk, told, context)
    name = language(told.visit.language, told.policy.shop.zone).gettext("Docket")
    return (paper.file(f"{name}-{spoken(told.tickets[0].number)}", page, hasty=desk.hasty),)


def docket(desk: Letterbox, told: Told, context: Facts) -> str:
    """The docket as one HTML page with nothing outside of it."""
    policy, visit = told.policy, told.visit
    words = language(visit.language, policy.shop.zone)
    size = policy.prints.page
    address = desk.links.code(visit.ref, visit.docket_version)
    side = len(modules(address)) + 2 * QUIET_ZONE
    parts = urlsplit(desk.links.base_url)
    return sheet(
        "messages/taken_in/docket.html",
        words,
        shop=policy.shop,
        terms=policy.terms,
        tickets=told.tickets,
        prices=context["prices"],
        made_at=visit.made_at,
        accepted_at=context["accepted_at"],
        code=svg(address, module_mm(side, LARGEST_CODE_MM), label=words.gettext("QR code")),
        short_address=parts.netloc + parts.path,
        size=size,
        stub=False,
        style=paper.style(size),
    )
