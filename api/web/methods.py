"""Which methods an address offers, over all the routes that share it: what ``Allow`` says (RFC 9110, section 15.5.6)."""

from collections.abc import Iterable, Mapping
from typing import Any

from fastapi import FastAPI, Request, Response
from starlette.routing import compile_path

from .errors import Problem, problem_response


class Methods:
    """The methods of every address of the contract."""

    def __init__(self, paths: Mapping[str, Mapping[str, Any]]) -> None:
        self._literal = {path: _allow(item) for path, item in paths.items() if "{" not in path}
        self._patterns = [(compile_path(path)[0], _allow(item)) for path, item in paths.items() if "{" in path]

    def of(self, path: str) -> tuple[str, ...]:
        """Return the methods of an address; a literal address is never taken for a pattern's."""
        if path in self._literal:
            return self._literal[path]
        return next((methods for pattern, methods in self._patterns if pattern.match(path)), ())

    def check_literal(self, path: str, method: str) -> None:
        """Refuse a method that a literal address does not offer, though a pattern beside it would."""
        methods = self._literal.get(path)
        if methods is not None and method not in methods:
            raise not_offered(method, methods)


def not_offered(method: str, methods: Iterable[str]) -> Problem:
    """Build the problem of a method that is not offered."""
    return Problem("method_not_allowed", f"{method} is not offered here.", headers={"Allow": ", ".join(methods)})


def methods_of(request: Request) -> Methods:
    """Return the methods of the application that answers this request."""
    methods = getattr(request.app.state, "methods", None)
    if methods is None:
        methods = request.app.state.methods = Methods(request.app.openapi()["paths"])
    return methods


def install(app: FastAPI) -> None:
    """Make the application name all methods of an address when it refuses one."""
    app.add_exception_handler(405, _on_405)


def _on_405(request: Request, error: Exception) -> Response:  # noqa: ARG001
    return problem_response(not_offered(request.method, methods_of(request).of(request.url.path)))


def _allow(item: Mapping[str, Any]) -> tuple[str, ...]:
    methods = {method.upper() for method in item}
    return tuple(sorted(methods | ({"HEAD"} if "GET" in methods else set())))
