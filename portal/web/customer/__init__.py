"""The customer's pages: the docket behind a link, the way back to a lost link, and the front door.

The link itself is the right to read, so no session is asked for: a form here is bound to what it was shown with and to
our own origin (which `security` asks of every form), instead of to a session's token.
"""

from __future__ import annotations

from flask import Blueprint

from portal.web.security import csrf

blueprint = Blueprint("customer", __name__)
csrf.exempt(blueprint)


from portal.web.customer.languages import choices, privacy_link  # noqa: E402

blueprint.context_processor(lambda: {"choices": choices, "privacy_link": privacy_link})

from portal.web.customer import (  # noqa: E402
    cancel,  # noqa: F401 (each adds its routes)
    check,  # noqa: F401
    collect,  # noqa: F401
    docket,  # noqa: F401
    front,  # noqa: F401
    give_up,  # noqa: F401
    messages,  # noqa: F401
    money,  # noqa: F401
    notices,  # noqa: F401
    own_data,  # noqa: F401
    parcels,  # noqa: F401
    photos,  # noqa: F401
    privacy,  # noqa: F401
    question,  # noqa: F401
    record,  # noqa: F401
    report,  # noqa: F401
    unhappy,  # noqa: F401
    write,  # noqa: F401
)
