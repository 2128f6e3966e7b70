"""Runs the migrations on the connection it is handed, which is in its transaction already (see app/store/schema.py).

To draft a migration from the tables: `python migrations/draft.py "what it does"`.
"""

from typing import Any, Literal

from alembic import context
from sqlalchemy.types import TypeDecorator

from app.store.base import metadata


def render_item(kind: str, item: Any, autogenerate_context: Any) -> str | Literal[False]:
    """Write our own column types as what they are to the database: a migration outlives the program's names."""
    if kind == "type" and isinstance(item, TypeDecorator):
        return f"sa.{item.impl!r}"
    return False


connection = context.config.attributes.get("connection")
if connection is None:
    raise SystemExit("Migrations run through `chitbook upgrade`; a new one is drafted by migrations/draft.py.")

context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    render_item=render_item,
    compare_type=True,
    # Alembic holds SQLite incapable of it, because of the driver's late BEGIN; ours is explicit.
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
