"""The console command. A refusal is one line on standard error and exit code 2."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

import click
from sqlalchemy.exc import DBAPIError

from app import serve as serving
from app.config import Settings, load_settings
from app.errors import CannotStart, ChitbookError
from app.folder import hold_folder, make_folder
from app.store import copies, schema
from app.store.engine import open_database, read_session, write_session
from app.store.types import canonical_json

in_folder = click.option("--data", "data_dir", metavar="DIR", help="The data folder.")
file_argument = click.argument("file", type=click.Path(path_type=Path))


def main() -> None:
    """The entry point of the console command."""
    # Whatever is made below is for this user only: database, log, backups, exports.
    os.umask(0o077)
    try:
        cli(prog_name="chitbook")
    except (ChitbookError, DBAPIError, OSError) as error:
        reason = error.orig if isinstance(error, DBAPIError) else error
        print(f"chitbook: {' '.join(str(reason).split())}", file=sys.stderr)
        sys.exit(2)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="chitbook", message="%(version)s")
def cli() -> None:
    """The record of a hand maltster: every reading beside the tub, what it means, and what to do next."""


@cli.command()
@in_folder
@click.option("--host", metavar="H", help="The address to listen on.")
@click.option("--port", metavar="N", help="The port to listen on; 0 takes any free one.")
@click.option("--lan", "is_open", is_flag=True, help="Let paired phones in the house network in, over https.")
@click.option(
    "--demo", "is_demo", is_flag=True, help="An invented malthouse in a folder of its own, new at each start."
)
def serve(data_dir: str | None, host: str | None, port: str | None, is_open: bool, is_demo: bool) -> None:
    """Serve the record in the browser. Makes what is missing, and upgrades what is old."""
    lan = "yes" if is_open else None
    serving.serve(load_settings(is_demo=is_demo, data_dir=data_dir, host=host, port=port, lan=lan))


@cli.command()
@in_folder
@click.option("--manage", "may_manage", is_flag=True, help="The phone may also manage, not only log.")
def pair(data_dir: str | None, may_manage: bool) -> None:
    """Show a code that pairs one phone with the house, while `serve --lan` runs."""
    settings = _current(data_dir)
    from app import invitation

    invitation.invite(settings, may_manage=may_manage)


@cli.command()
@in_folder
def upgrade(data_dir: str | None) -> None:
    """Bring the database to this program's revision, backed up first. `serve` does it by itself."""
    settings = _existing(data_dir)
    with hold_folder(settings.data_dir):
        done = serving.migrate(settings)
    click.echo(done or "There is nothing to upgrade.")


@cli.command()
@in_folder
@file_argument
def backup(data_dir: str | None, file: Path) -> None:
    """Copy the database into FILE, whether a server uses it or not."""
    settings = _existing(data_dir)
    schema.inspect_file(settings.database_file, thoroughly=True)
    copies.back_up(settings.database_file, file)
    click.echo(f"Backed up to {file}.")


@cli.command()
@in_folder
@file_argument
def restore(data_dir: str | None, file: Path) -> None:
    """Put the backup FILE in the place of the database; the database that was there is kept among the backups."""
    settings = load_settings(data_dir=data_dir)
    if schema.inspect_file(file, thoroughly=True) is None:
        raise CannotStart(f"{file} is no backup of a database.")
    make_folder(settings.data_dir)
    with hold_folder(settings.data_dir):
        kept = copies.keep_aside(settings.database_file, settings.backup_dir)
        copies.replace_database(file, settings.database_file)
    click.echo(f"Restored from {file}." + (f" What was there before: {kept}" if kept else ""))


@cli.command()
@in_folder
def rebuild(data_dir: str | None) -> None:
    """Compute the measures of every batch again, from the facts."""
    settings = _current(data_dir)
    from app.operations import digests

    with open_database(settings.database_url) as engine, write_session(engine) as session:
        digests.rebuild(session)
    click.echo("Computed again.")


@cli.command("export")
@in_folder
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True), default="-")
def export_(data_dir: str | None, file: Path) -> None:
    """Write everything that was recorded as JSON lines, to FILE or to standard output."""
    settings = _current(data_dir)
    from app.exchange.records import export_records

    with open_database(settings.database_url) as engine, read_session(engine) as session, _writing(file) as out:
        for record in export_records(session):
            out.write(canonical_json(record) + "\n")


@cli.command("import")
@in_folder
@click.argument("file", type=click.File(encoding="utf-8"))
def import_(data_dir: str | None, file: TextIO) -> None:
    """Take the JSON lines of an export into an empty folder: all of them or none."""
    settings = load_settings(data_dir=data_dir)
    from app.exchange.records import import_records

    make_folder(settings.data_dir)
    with hold_folder(settings.data_dir):
        serving.furnish(settings)
        with open_database(settings.database_url) as engine, write_session(engine) as session:
            count = import_records(session, _lines(file))
    click.echo(f"{count} entries imported.")


def _lines(file: TextIO) -> Iterator[str]:
    try:
        yield from file
    except UnicodeDecodeError as error:
        raise CannotStart(f"{file.name} is no export: it is not text.") from error


def _existing(data_dir: str | None) -> Settings:
    """The settings of a folder that has a database."""
    settings = load_settings(data_dir=data_dir)
    if not settings.database_file.exists():
        raise CannotStart(f"There is no database in {settings.data_dir}.")
    return settings


def _current(data_dir: str | None) -> Settings:
    """The settings of a folder whose database is at this program's revision."""
    settings = _existing(data_dir)
    if schema.inspect_file(settings.database_file) != schema.head_revision():
        raise CannotStart(f"The database in {settings.data_dir} is an older one. Run `chitbook upgrade` first.")
    return settings


@contextmanager
def _writing(file: Path) -> Iterator[TextIO]:
    """Standard output, or a new file that appears whole or not at all."""
    if str(file) == "-":
        yield sys.stdout
        return
    if file.exists():
        raise CannotStart(f"{file} is there already, and an export never overwrites. Name another file.")
    part = file.with_name(file.name + ".part")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as out:
            yield out
        part.rename(file)
    finally:
        part.unlink(missing_ok=True)
