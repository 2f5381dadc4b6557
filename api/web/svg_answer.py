"""A picture as an answer: SVG, without a script, kept from running anything it might be made to hold."""

from typing import Any

from fastapi import Response

SVG: dict[str, Any] = {"image/svg+xml": {"schema": {"type": "string"}}}
"""The content of an answer that may be a picture, for the contract."""


class SvgAnswer(Response):
    """A picture; whoever opens it alone runs nothing of it."""

    media_type = "image/svg+xml"

    def __init__(self, text: str) -> None:
        super().__init__(
            text.encode(), headers={"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'"}
        )
