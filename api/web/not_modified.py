"""Answers that are sent only once: ``If-None-Match``.

An answer without an ETag of its own gets a weak one from its bytes: ask again with it, and an answer that is the same is
304 without a body (RFC 9110, 13.1.2).
"""

from hashlib import sha256

from fastapi import Request, Response


def if_modified(request: Request, response: Response) -> Response:
    """Return an answer to a GET with its ETag, or 304 where the client has it already."""
    if request.method != "GET" or response.status_code != 200:
        return response
    tag = response.headers.get("ETag") or f'W/"{sha256(bytes(response.body)).hexdigest()[:32]}"'
    response.headers["ETag"] = tag
    known = [one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")]
    if tag.removeprefix("W/") not in known and "*" not in known:
        return response
    kept = ("etag", "link", "content-security-policy", "referrer-policy", "vary")
    return Response(
        status_code=304, headers={name: response.headers[name] for name in kept if name in response.headers}
    )
