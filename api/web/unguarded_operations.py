"""Which operations are for whom: what ``allow`` has put on each, and the few that are for everybody."""

from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts

from .operation import roles_of

OPEN = frozenset(
    {
        *("get_alive", "get_ready", "explain_problem", "start", "contract", "docs", "redoc"),
        *("guide", "guide_page", "assets", "favicon"),
    }
)
"""What is answered without a token: it holds nothing of anybody's."""


def unguarded(app: FastAPI) -> list[str]:
    """Return the operations that anybody may use though they do not stand in ``OPEN``."""
    return [
        f"{'/'.join(sorted(route.methods or ()))} {route.path}"
        for route in (context.original_route for context in iter_route_contexts(app.routes))
        if isinstance(route, APIRoute) and route.name not in OPEN and not any(roles_of(route.dependant))
    ]
