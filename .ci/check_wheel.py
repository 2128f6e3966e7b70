"""Start the installed program as a newcomer does, with the demo, and look at its health and at its home page.

python check_wheel.py <chitbook command> <a folder to be the user's home>
"""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

PATIENCE_S = 60


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def fetch(address: str) -> str:
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urlopen(address, timeout=10) as answer:
                return answer.read().decode()
        except (URLError, ConnectionError):
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def main(command: str, home: Path) -> int:
    home.mkdir(parents=True, exist_ok=True)
    port = free_port()
    environment = {**os.environ, "HOME": str(home), "XDG_DATA_HOME": str(home / "share")}
    server = subprocess.Popen([command, "serve", "--demo", "--port", str(port)], env=environment, cwd="/")
    try:
        health = json.loads(fetch(f"http://127.0.0.1:{port}/health"))
        page = fetch(f"http://127.0.0.1:{port}/")
        print(health)
        if health["status"] != "ok" or not health["schema"] or "Chitbook" not in page or "/batches/" not in page:
            print("the installed program doesn't show its demo")
            return 1
    finally:
        server.send_signal(signal.SIGTERM)
        code = server.wait(timeout=10)
    print(f"stopped with {code}")
    return 0 if code == 0 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2])))
