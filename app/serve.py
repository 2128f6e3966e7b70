"""From a data folder to a listening server. Every check is made here, in the parent, before anything is served."""

import gc
import logging
import multiprocessing
import os
import signal
import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from importlib import import_module
from ipaddress import ip_address
from multiprocessing.util import Finalize
from threading import Thread, Timer
from typing import TYPE_CHECKING, Any

from app import ports
from app.config import Settings
from app.errors import CannotStart
from app.folder import empty_demo_folder, ensure_secret, hold_folder, make_folder, refuse_demo_folder
from app.store import copies, schema
from app.store.engine import POOL_SIZE, count_rows, open_database, write_session

if TYPE_CHECKING:
    from flask import Flask
    from sqlalchemy.orm import Session

STOP_AFTER_S = 3
"""How long open streams are waited for at the end; then the worker is killed. Nothing kept is lost by that."""
WARM_UP_AFTER_S = 1.0
HEAVY_MODULES = ("scipy.special", "scipy.optimize")
"""Imported once the server answers, so that nobody waits for them: neither the first page nor the first forecast."""


def serve(settings: Settings) -> None:
    """Prepare the folder, serve until told to stop."""
    address = resolve(settings.host)
    refuse_open_http(settings, address)
    if not settings.data_dir.exists():
        take_port(address, settings.port)
    make_folder(settings.data_dir)
    with hold_folder(settings.data_dir):
        settings = replace(settings, port=take_port(address, settings.port))
        prepare(settings)
        run(open_to_network(settings) if settings.lan else settings, address)


def refuse_open_http(settings: Settings, address: str) -> None:
    """Beyond this machine there is https only: our own door for it, or a proxy's."""
    if not ip_address(address.partition("%")[0]).is_loopback and not settings.trusted_proxies:
        raise CannotStart(
            f"On {settings.host} others would read along, for --host speaks plain http. For phones say --lan; "
            "behind a reverse proxy set trusted_proxies."
        )


def open_to_network(settings: Settings) -> Settings:
    """Make what phones need to trust this house, and find the ports free."""
    from app.network.opened import prepare as prepare_network

    address = resolve(settings.lan_host)
    lan_port = take_port(address, settings.lan_port)
    lan_http_port = take_port(address, settings.lan_http_port)
    settings = replace(settings, lan_host=address, lan_port=lan_port, lan_http_port=lan_http_port)
    prepare_network(settings, ports.now())
    return settings


def prepare(settings: Settings) -> None:
    """Bring a held folder to the state in which it can be served: secret, database, migrations, demo."""
    if settings.is_demo:
        empty_demo_folder(settings.data_dir)
    else:
        refuse_demo_folder(settings.data_dir)
    furnish(settings)
    if settings.is_demo:
        fill_demo(settings)


def furnish(settings: Settings) -> None:
    """Give a held folder all that the program needs in it and that nobody recorded."""
    from app.operations.programmes import ensure_builtin_programmes

    migrate(settings)
    ensure_secret(settings.secret_file)
    with open_database(settings.database_url) as engine, write_session(engine) as session:
        ensure_builtin_programmes(session, now=ports.now())
        judge_anew(session)
        count_rows(session)


def judge_anew(session: "Session") -> None:
    """What came of ended batches is remembered; a program with other rules remembers it by its own."""
    from app.judgement import rules_version
    from app.operations.digests import refresh_digests
    from app.store.digests import list_judged_otherwise

    batch_ids = list_judged_otherwise(session, rules_version())
    if batch_ids:
        print(f"The rules have changed: {len(batch_ids)} ended batches are judged anew.", file=sys.stderr)
        refresh_digests(session, batch_ids, ports.now())


def migrate(settings: Settings) -> str | None:
    """Bring the database to the newest revision, backed up first. Says what was done, None if there was nothing to do.

    The folder must be held.
    """
    database, newest = settings.database_file, schema.head_revision()
    revision = schema.inspect_file(database)
    if revision == newest:
        _check_writable(settings)
        return None
    kept = ""
    if revision is not None:
        schema.inspect_file(database, thoroughly=True)
        make_folder(settings.backup_dir)
        target = settings.backup_dir / f"{ports.now():%Y%m%dT%H%M%S.%f}-{revision}.sqlite"
        copies.back_up(database, target)
        kept = f"; as it was before: {target}"
    with open_database(settings.database_url) as engine:
        try:
            schema.upgrade(engine)
        except Exception as error:
            raise CannotStart(f"The database could not be brought to revision {newest} ({error}){kept}.") from error
    return f"The database is at revision {newest}{kept}."


def _check_writable(settings: Settings) -> None:
    if not os.access(settings.database_file, os.W_OK):
        raise CannotStart(f"The database {settings.database_file} can't be written.")


def fill_demo(settings: Settings) -> None:
    from app.exchange.demo import load_demo

    with open_database(settings.database_url) as engine, write_session(engine) as session:
        load_demo(session, ports.now().astimezone(settings.zone))


def resolve(host: str) -> str:
    """The address that a host name means here."""
    try:
        return str(socket.getaddrinfo(host, None, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0][4][0])
    except (OSError, UnicodeError) as error:
        raise CannotStart(f"{host} is no address of this machine: {error}.") from error


def take_port(address: str, port: int) -> int:
    """Make sure that the port is free, and return it; for 0 a free one.

    The server itself shares a port with whoever shares it, in silence; so it is first bound without sharing. Reuse of
    an address only allows for connections of an earlier server that are still closing.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
        probe.setsockopt(socket.SOL_SOCKET, exclusive or socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
            probe.listen(1)
        except OSError as error:
            raise CannotStart(f"Port {port} of {address} can't be used: {error.strerror}. Try --port N.") from error
        return int(probe.getsockname()[1])


def run(settings: Settings, address: str) -> None:
    """Serve until a signal. The folder is held, the database at its newest revision, the port free."""
    from granian.constants import HTTPModes, Interfaces
    from granian.log import LogLevels
    from granian.server import Server

    if sys.platform == "linux":
        # The default of newer Pythons starts the worker from nothing, and imports everything twice.
        multiprocessing.set_start_method("fork", force=True)
    server = Server(
        "app",
        address=address,
        port=settings.port,
        interface=Interfaces.WSGI,
        http=HTTPModes.http1,
        websockets=False,
        workers=1,
        blocking_threads=POOL_SIZE,
        respawn_failed_workers=True,
        respawn_interval=0,
        workers_kill_timeout=STOP_AFTER_S,
        log_level=LogLevels.error,
    )
    server.on_startup(_stop_with_terminal(server))
    server.on_startup(partial(_announce, settings))
    server.serve(target_loader=_make_loader(settings), wrap_loader=False)


def _stop_with_terminal(server: Any) -> Callable[[], object]:
    """A hook that lets a closed terminal end the program, as everywhere else, unless it was started not to (nohup)."""
    if not hasattr(signal, "SIGHUP"):
        return lambda: None
    # The server takes the signal for a wish to reload; so what held before is asked now, and put right after.
    ignored = signal.getsignal(signal.SIGHUP) == signal.SIG_IGN
    return lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN if ignored else server.signal_handler_interrupt)


def _announce(settings: Settings) -> None:
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    address = f"http://{host}:{settings.port}/"
    print(f"Chitbook is at {address} and keeps its records in {settings.data_dir}. Ctrl-C stops it.", flush=True)
    if settings.lan:
        from app.invitation import announce_network

        announce_network(settings)


def _make_loader(settings: Settings) -> Callable[[], "Flask"]:
    """What the worker calls for its app. A forked worker finds it made, so that a fault shows before the fork."""
    if multiprocessing.get_start_method() != "fork":
        return partial(_load_in_worker, settings)
    app = _make_app(settings)
    # A connection that crosses a fork belongs to two processes, and neither can use it.
    app.extensions["engine"].dispose()
    return partial(_begin_worker, app)


def _make_app(settings: Settings) -> "Flask":
    from app import create_app

    return create_app(settings)


def _load_in_worker(settings: Settings) -> "Flask":
    return _begin_worker(_make_app(settings))


def _begin_worker(app: "Flask") -> "Flask":
    # A worker's exit runs no atexit; closed connections leave one tidy file behind.
    Finalize(None, app.extensions["engine"].dispose, exitpriority=0)
    Thread(target=_end_with_parent, name="end-with-parent", daemon=True).start()
    if app.extensions["settings"].lan:
        _open_house(app)
    warm_up = Timer(WARM_UP_AFTER_S, _warm_up)
    warm_up.daemon = True
    warm_up.start()
    return app


def _open_house(app: "Flask") -> None:
    from app.network.opened import OpenHouse
    from app.web.access.house_network import tell
    from app.web.request.photo_uploads import largest_body

    settings: Settings = app.extensions["settings"]
    house = OpenHouse(settings, app.wsgi_app, lambda: tell(app, house.describe()), largest_body(settings))
    house.open()
    # Before the connections to the database are closed, whose priority is lower.
    Finalize(None, house.close, exitpriority=10)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _warm_up() -> None:
    for name in HEAVY_MODULES:
        try:
            import_module(name)
        except ImportError:
            logging.getLogger(__name__).exception("%s can't be imported", name)
    set_aside_what_stays()


def set_aside_what_stays() -> None:
    """Tell the garbage collector that what is loaded by now stays: looking through it takes a request up to 10 ms."""
    gc.collect()
    gc.freeze()
