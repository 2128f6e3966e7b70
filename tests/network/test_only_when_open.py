"""Who keeps the house closed to its network waits for nothing that opening it needs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from app.config import Settings

ROOT = Path(__file__).parents[2]
NEEDED_BY_LAN = ("cryptography", "cheroot", "zeroconf", "ifaddr")
LOOK = """
import sys
from pathlib import Path
from app import create_app, cli, serve
from app.config import Settings
app = create_app(Settings(data_dir=Path(sys.argv[1])))
assert app.test_client().get("/devices").status_code == 200
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""


def test_without_lan_nothing_of_it_is_imported(settings: Settings) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOOK, settings.data_dir], cwd=ROOT, capture_output=True, text=True, check=True
    )
    imported = done.stdout.split()
    assert "flask" in imported
    assert not set(imported) & set(NEEDED_BY_LAN)
