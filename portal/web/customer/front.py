"""The front door: following a repair by its number, a lost link, and what robots may read."""

from __future__ import annotations

from flask import Response, render_template, request
from flask.typing import ResponseReturnValue

from portal.actions.links import send_link_again
from portal.rules.throttle import TooOften
from portal.web.customer import blueprint
from portal.web.customer.languages import choose
from portal.web.forms import Answer, attempt, typed
from portal.web.request_context import desk, policy

# Paths, never a single link: a list of links would give them away (W3C TAG, Good Practices for Capability URLs).
ROBOTS = "User-agent: *\nDisallow: /t/\nDisallow: /T/\nDisallow: /bench/\nDisallow: /BENCH/\nDisallow: /shop/\n"


@blueprint.get("/")
def front_door() -> ResponseReturnValue:
    """Where somebody lands who types the shop's address."""
    choose(policy().shop)
    return render_template("customer/front.html")


@blueprint.get("/lost")
def lost_link() -> ResponseReturnValue:
    """The form for a link that was lost; the number may be known already."""
    choose(policy().shop)
    return _lost_page(Answer(), number=request.args.get("number", "")[:40])


@blueprint.post("/lost")
def send_lost_link() -> ResponseReturnValue:
    """Send the link again. The answer is the same whether number and address belong together or not."""
    choose(policy().shop)
    answer = attempt(
        lambda: send_link_again(desk(), typed("number"), typed("contact"), address_key=request.remote_addr or "")
    )
    if answer.done:
        return render_template("customer/lost_sent.html")
    if answer.kind is TooOften:
        answer.status = 429
    return _lost_page(answer, typed("number"), typed("contact"))


@blueprint.get("/robots.txt")
def robots() -> ResponseReturnValue:
    """What robots may read: the front door."""
    return Response(ROBOTS, mimetype="text/plain")


def _lost_page(answer: Answer, number: str, contact: str = "") -> ResponseReturnValue:
    page = render_template("customer/lost.html", answer=answer, number=number, contact=contact)
    return page, answer.status
