"""Draft a migration: what the tables in app/store have and the newest revision has not.

    python migrations/draft.py "lots carry a supplier"

The draft is a beginning: read it, name its constraints, and test it with rows.
"""

import importlib
import pkgutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parent.parent))

import app.store
from app.store.engine import make_engine
from app.store.schema import alembic_config, migration_connection, upgrade


def draft(message: str) -> None:
    from alembic import command

    for module in pkgutil.iter_modules(app.store.__path__):
        importlib.import_module(f"app.store.{module.name}")
    with TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{folder}/empty.sqlite")
        upgrade(engine)
        with migration_connection(engine) as connection:
            config = alembic_config()
            config.attributes["connection"] = connection
            command.revision(config, message, autogenerate=True)
        engine.dispose()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    draft(sys.argv[1])
