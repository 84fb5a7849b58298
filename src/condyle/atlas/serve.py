"""Serve the page on this machine until it is stopped by hand."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable
from pathlib import Path

from condyle.errors import UsageError

ADDRESS = "127.0.0.1"


def serve(figure: Path, kit: Path, port: int, ready: Callable[[str], None]) -> None:
    """Serve one figure file on ``port`` (0 takes a free one); ``ready`` is called with the address to open.

    UsageError ``atlas.port`` when the port is taken. Returns after Ctrl-C; open streams are ended.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind((ADDRESS, port))
        except OSError as error:
            hint = "give another with --port, or 0 for any that is free"
            raise UsageError("atlas.port", f"port {port} cannot be used: {error.strerror}", hint=hint) from error
        door.listen(128)  # before the address is told, so that whoever is quick with it waits and is not refused
        port = door.getsockname()[1]
        token = secrets.token_urlsafe(24)  # cannot be guessed
        ready(f"http://{ADDRESS}:{port}/#{token}")
        # Loaded while the browser opens; it waits at the door.
        import uvicorn

        from condyle.atlas.app import create_app

        app = create_app(figure, kit, token, frozenset({f"{ADDRESS}:{port}", f"localhost:{port}"}))
        settings = uvicorn.Config(app, log_level="warning", access_log=False, timeout_graceful_shutdown=2)
        uvicorn.Server(settings).run(sockets=[door])
