"""Answers with a photo: to whoever has been let through to it, and to no cache but their own."""

from __future__ import annotations

from flask import Response, abort, request

from portal.store.photo_files import SIZES
from portal.web.request_context import installation

KEPT_SECONDS = 3600


def picture(ref: str, size: str) -> Response:
    """The photo's bytes, or 304 for a browser that has them. Answers 404 for a size there is not, and a file gone."""
    if size not in SIZES:
        abort(404)
    mark = f"{ref}-{size}"
    headers = {"Cache-Control": f"private, max-age={KEPT_SECONDS}", "ETag": f'"{mark}"'}
    if mark in request.if_none_match:
        return Response(status=304, headers=headers)
    content = installation().photo_files.read(ref, size)
    if content is None:
        abort(404)
    headers["Content-Disposition"] = f'inline; filename="{mark}.jpg"'
    return Response(content, mimetype="image/jpeg", headers=headers)
