"""The server of the page: on this machine alone, or with a code for a phone beside the bench."""

from __future__ import annotations

import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path

from recurve.errors import InputError
from recurve.page.app import build_app
from recurve.page.safety import Door


def serve_folder(folder: Path, port: int, lan: bool, browser: bool, say: Callable[[str], None]) -> None:
    """Serve a folder of units until it is interrupted; everything that was shown as saved is then on the disk. Raises
    InputError where the port is taken."""
    import uvicorn

    door = Door(lan)
    listener = _listener("0.0.0.0" if lan else "127.0.0.1", port)
    at = listener.getsockname()[1]
    address = f"http://127.0.0.1:{at}/"
    say(f"The bench page of {folder}: {address}")
    if lan:
        say(f"For a phone beside the bench: http://{_own_address()}:{at}/  code {door.renew()}, for one phone, once.")
        say("Anyone on this network who has the code can see and change the units. Use only your own network.")
    say("Ctrl-C ends the page; everything shown as saved is kept.")
    app = build_app(folder, door)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, proxy_headers=False, timeout_graceful_shutdown=2
    )
    server = uvicorn.Server(config)
    if browser:
        threading.Thread(target=_open, args=(server, address), daemon=True).start()
    try:
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        app.state.bench.works.end()


def _listener(host: str, port: int) -> socket.socket:
    # Without the protocol by name asyncio leaves the system waiting 40 ms before it sends the second part of an answer.
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as fault:
        listener.close()
        raise InputError(f"--port {port}: got {fault.strerror}, expected a port that is free; 0 takes any") from None
    return listener


def _own_address() -> str:
    """This machine's address on its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737
            return str(asked.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _open(server: object, address: str) -> None:
    for _ in range(100):
        if getattr(server, "started", False):
            webbrowser.open(address)
            return
        time.sleep(0.1)
