"""Why a picture was not taken, in words that help."""

from __future__ import annotations

from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence, say

FIELD = "photo"


def refuse(reason: Sentence) -> Unfit:
    """The refusal of a photo for this reason."""
    return Unfit(FIELD, reason)


EMPTY = say("The file is empty. Please take the photo again.")
DRAWING = say("This is a drawing file, not a photo. Please send a JPEG, PNG, WebP, HEIC or AVIF picture.")
NOT_A_PICTURE = say("This is not a picture the shop can read. Please send a JPEG, PNG, WebP, HEIC or AVIF picture.")
BROKEN = say("The picture is broken or was cut off on the way. Please send it again.")
TOO_HARD = say("The picture could not be read. Please take it anew, or send it as a JPEG.")
NOT_DRAWN = say("The picture could not be changed. It is as it was; please try again.")

BUSY = say("Many photos are coming in at this moment. Please send this one again in a minute.")


def too_large(megabytes: int) -> Sentence:
    """For a file above the limit."""
    return say("The file is too large. At most {most} MB fit; choose a smaller size on the phone.", most=megabytes)


def too_many_pixels(found: float, most: int) -> Sentence:
    """For a picture with more pixels than memory is kept for."""
    return say(
        "The picture has {found} megapixels; at most {most} can be read in this format. Send it as a JPEG, or smaller.",
        found=f"{found:.0f}",
        most=most,
    )
