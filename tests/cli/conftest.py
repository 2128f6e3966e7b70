"""The console command as a person runs it: a process of its own, in a home of its own."""

import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import chdir, redirect_stderr, redirect_stdout, suppress
from io import StringIO
from pathlib import Path
from unittest.mock import patch

import pytest

from app.cli import main
from app.config import Settings
from app.folder import LOCK_FILE, make_folder
from app.serve import migrate
from tests.patience import PATIENCE_S, wait_until
from tests.ports import free_port

ROOT = Path(__file__).parents[2]
PROGRAM = (sys.executable, "-c", "from app.cli import main; main()")


class Command:
    """Runs `chitbook` with words, and knows the home it runs in."""

    def __init__(self, home: Path) -> None:
        self.home = home
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("CHITBOOK_", "XDG_"))}
        self.environment = {**kept, "HOME": str(home), "USERPROFILE": str(home), "PYTHONPATH": str(ROOT)}

    def __call__(self, *words: object, **environment: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*PROGRAM, *map(str, words)],
            env={**self.environment, **environment},
            cwd=self.home,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )

    def refused(self, *words: object, **environment: str) -> str:
        """The one line on standard error of a command that was refused."""
        done = self(*words, **environment)
        assert (done.returncode, done.stdout) == (2, ""), done
        assert done.stderr.startswith("chitbook: ")
        assert done.stderr.count("\n") == 1
        return done.stderr


class QuickCommand(Command):
    """The same in this process: for the many tests whose subject is not the process."""

    def __call__(self, *words: object, **environment: str) -> subprocess.CompletedProcess[str]:
        arguments, out, err, code = ["chitbook", *map(str, words)], StringIO(), StringIO(), 0
        umask = os.umask(0o077)
        try:
            with (
                patch.dict(os.environ, {**self.environment, **environment}, clear=True),
                patch.object(sys, "argv", arguments),
                chdir(self.home),
                redirect_stdout(out),
                redirect_stderr(err),
            ):
                main()
        except SystemExit as end:
            code = int(end.code or 0)
        finally:
            os.umask(umask)
        return subprocess.CompletedProcess(arguments, code, out.getvalue(), err.getvalue())


class Server:
    """A running `chitbook serve`, on a port of this process's share.

    Port 0 is said where it is the subject: what the system then names is one of those that it gives to whoever calls
    out, and somebody may be given it in the moment before the server takes it.
    """

    def __init__(self, command: Command, *words: object) -> None:
        self.process = subprocess.Popen(
            [*PROGRAM, "serve", "--port", str(free_port()), *map(str, words)],
            env=command.environment,
            cwd=command.home,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        assert self.process.stdout is not None
        self.greeting = self.process.stdout.readline()
        if not self.greeting:
            raise AssertionError(self.process.communicate(timeout=PATIENCE_S))
        self.port = int(self.greeting.split("http://127.0.0.1:")[1].split("/")[0])
        wait_until(self.answers)

    def answers(self) -> bool:
        try:
            return self.get("/health") == 200
        except OSError:
            return False

    def get(self, path: str) -> int:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            connection.request("GET", path)
            return connection.getresponse().status
        finally:
            connection.close()

    def is_port_free(self) -> bool:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", self.port))
            except OSError:
                return False
            return True

    def worker(self) -> int:
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        return int(children[0])

    def stop(self, by: int = signal.SIGTERM) -> tuple[int, str]:
        """The exit code, and what was said on standard error."""
        self.process.send_signal(by)
        _, said = self.process.communicate(timeout=PATIENCE_S)
        return self.process.returncode, said

    def end(self) -> None:
        if self.process.poll() is None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
        self.process.communicate(timeout=PATIENCE_S)


@pytest.fixture
def command(tmp_path: Path) -> Command:
    home = tmp_path / "home"
    home.mkdir()
    return Command(home)


@pytest.fixture
def quick(command: Command) -> QuickCommand:
    return QuickCommand(command.home)


@pytest.fixture
def start(command: Command) -> Iterator[Callable[..., Server]]:
    started: list[Server] = []

    def start_server(*words: object) -> Server:
        started.append(Server(command, *words))
        return started[-1]

    yield start_server
    for server in started:
        server.end()


@pytest.fixture(scope="session")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("migrated") / "malthouse"
    make_folder(folder)
    migrate(Settings(data_dir=folder))
    return folder


@pytest.fixture
def folder(migrated: Path, tmp_path: Path) -> Path:
    """A data folder whose database the migrations made."""
    return Path(shutil.copytree(migrated, tmp_path / "malthouse"))


def snapshot(folder: Path) -> dict[str, bytes]:
    """What lies in a folder, byte by byte. The lock says nothing, and is left out."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != LOCK_FILE
    }
