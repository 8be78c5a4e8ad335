"""What may not be done with data that is only stored: which deeds would use it, and what allows one all the same.

While a restriction stands, personal data is stored, and used only with the person's consent, for legal claims or to
protect the rights of another (GDPR Art. 18(2)). Not legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from enum import StrEnum

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Ending, Event


class Use(StrEnum):
    """What personal data would be used for. Storing it, and the work on the device, is none of these."""

    WRITE = "write"
    PHOTO = "photo"
    POST = "post"
    PUBLISH = "publish"
    DISCLOSE = "disclose"


class Ground(StrEnum):
    """What allows a use all the same."""

    CONSENT = "consent"
    CLAIM = "claim"
    OTHERS = "others"


USE_WORDS: Mapping[Use, Sentence] = {
    Use.WRITE: say("writing to them"),
    Use.PHOTO: say("photos for them"),
    Use.POST: say("posting the device back"),
    Use.PUBLISH: say("publishing pictures or film"),
    Use.DISCLOSE: say("naming a second person, who then reads it"),
}
GROUND_WORDS: Mapping[Ground, Sentence] = {
    Ground.CONSENT: say("they agreed to it"),
    Ground.CLAIM: say("a legal claim is raised, pursued or defended with it"),
    Ground.OTHERS: say("it protects the rights of somebody else"),
}
_NOT_DONE: Mapping[Use, Sentence] = {
    Use.WRITE: say("nothing is written to them"),
    Use.PHOTO: say("no photos are made for them"),
    Use.POST: say("the device is not posted, since a carrier would get their address"),
    Use.PUBLISH: say("nothing of it is published"),
    Use.DISCLOSE: say("no second person gets to read it"),
}
# These write to the contact, whoever else reads them.
_WRITTEN = ("window_moved", "complaint_answered", "question_put", "question_signed_off")
# These do so only where they are for the customer.
_WRITTEN_TO_CUSTOMER = ("noted", "corrected", "question_drafted", "question_changed")
_PHOTOS_FOR_CUSTOMER = ("photographed", "photo_released", "photo_pointed_out", "photos_paired")


def use_of(event: Event, audience: str) -> Use | None:
    """What a deed with this event would use the data for, or None where it stores it only.

    A formal letter is none: it raises a claim. Neither is a call that is noted, since it has been made.
    """
    if event.name in _WRITTEN or (event.name in _WRITTEN_TO_CUSTOMER and audience == "customer"):
        return Use.WRITE
    if event.name in _PHOTOS_FOR_CUSTOMER and audience == "customer":
        return Use.PHOTO
    if event.name == "ended" and event.data["ending"] == Ending.POSTED:
        return Use.POST
    if event.name == "publication_allowed":
        return Use.PUBLISH
    if event.name == "contact_changed" and event.data["contact"] == "second":
        return Use.DISCLOSE
    return None


def must_be_allowed(wanted: Collection[Use], allowed: Collection[Use], since: date) -> None:
    """Raise Refused, with every reason, for uses of restricted data that nothing allows."""
    refused = [use for use in Use if use in wanted and use not in allowed]
    if refused:
        raise Refused(*(_why(use, since) for use in refused))


def _why(use: Use, since: date) -> Sentence:
    return say(
        "At its owner’s wish the data of this repair is only stored since {since} (Art. 18 GDPR): {not_done}. If they "
        "agree to it, or if a legal claim or the rights of somebody else need it, write that down under Data first; or "
        "the keeper ends the restriction there, of which the owner is told before.",
        since=since,
        not_done=_NOT_DONE[use],
    )


def use(typed: str) -> Use:
    """What was chosen in a form. Raises Unfit (field "uses")."""
    if typed not in list(Use):
        raise Unfit("uses", say("Please choose what may be done."))
    return Use(typed)


def ground(typed: str) -> Ground:
    """What was chosen in a form. Raises Unfit (field "ground")."""
    if typed not in list(Ground):
        raise Unfit("ground", say("Please choose what allows it."))
    return Ground(typed)
