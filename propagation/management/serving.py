"""Serving the pages with a production server, on this machine or to the phone on the same network."""

import errno
import signal
import socket
import threading

import waitress
from django.conf import settings
from django.core.management.base import CommandError

from propagation.management.background import worker_beside

# RFC 5737 TEST-NET-1: no packet is sent, the system only says from which address it would be.
NOWHERE = ("192.0.2.1", 9)
EVERY_INTERFACE = "0.0.0.0"  # noqa: S104 - only when the keeper asks for --lan
THREADS = 8


def lan_address() -> str | None:
    """This machine's address on the local network, or None where there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(NOWHERE)
        except OSError:
            return None
        return probe.getsockname()[0]


def end_on_terminate():
    """Let SIGTERM (a service manager, a container) end the server as Ctrl-C does, worker and all.

    Not by way of SIGINT: what a shell starts in the background ignores that (POSIX, Shell Command Language 2.11).
    """
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, signal.default_int_handler)


def serve(*, port: int, lan: bool, say) -> None:
    """Serve until interrupted, with one worker for background work. `say` gets the address once the port is open.

    Raises CommandError if the port is taken or, with `lan`, there is no network.
    """
    from config.wsgi import application

    host = "127.0.0.1"
    if lan:
        host = lan_address()
        if host is None:
            raise CommandError("This machine is on no network; connect it, or serve without --lan.")
        settings.ALLOWED_HOSTS.append(host)
    try:
        server = waitress.create_server(
            application,
            listen=f"{EVERY_INTERFACE if lan else host}:{port}",
            threads=THREADS,
            ident=None,
        )
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise CommandError(f"Port {port} is taken by another program; choose another with --port.") from error
        raise
    end_on_terminate()
    try:
        with worker_beside():
            say(f"http://{host}:{server.effective_port}")
            server.run()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
