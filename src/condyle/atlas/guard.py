"""Who may talk to the page's server: this machine's browser, with the token of this run, from the page itself.

The token travels in the address's fragment, which no server sees and no log keeps, and comes back as a bearer token with
every call (RFC 6750, 2.1); there are no cookies that another page could ride on. Host and Origin are checked so that no
name that is pointed at this machine (DNS rebinding) opens the door.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable

from fastapi import Request, Response
from fastapi.responses import JSONResponse

PAGE_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "font-src 'self'",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}

Next = Callable[[Request], Awaitable[Response]]


class Guard:
    """Checks every request; ``hosts`` are the names, with port, under which the page is served."""

    def __init__(self, token: str, hosts: frozenset[str]) -> None:
        self._token = token
        self._hosts = hosts

    async def __call__(self, request: Request, call_next: Next) -> Response:
        refusal = self._refusal(request)
        response = refusal if refusal is not None else await call_next(request)
        for name, value in _HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    def _refusal(self, request: Request) -> Response | None:
        if request.headers.get("host", "") not in self._hosts:
            return _refused(421, "atlas.host", "this server answers on this machine only")
        origin = request.headers.get("origin")
        if origin is not None and origin not in {f"http://{h}" for h in self._hosts}:
            return _refused(403, "atlas.origin", "another page asked for this")
        if request.url.path.startswith("/api/"):
            scheme, _, given = request.headers.get("authorization", "").partition(" ")
            if scheme.lower() != "bearer" or not secrets.compare_digest(given.encode(), self._token.encode()):
                return _refused(401, "atlas.token", "open the page by the address that condyle atlas printed")
        return None


def _refused(status: int, code: str, message: str) -> Response:
    return JSONResponse({"code": code, "message": message, "hint": "", "place": ""}, status_code=status)
