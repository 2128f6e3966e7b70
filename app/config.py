"""Every setting, once: its name, default, parser and help stand together in `Settings` and nowhere else.

A value comes from, the later the stronger: the default, `chitbook.toml` in the data folder, the environment variable
`CHITBOOK_<NAME>`, the command line. A value that can't be read stops the start with one line saying which and where.
"""

import os
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields
from datetime import time
from difflib import get_close_matches
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import platformdirs
import tzlocal

from app.errors import CannotStart

ENVIRONMENT_PREFIX = "CHITBOOK_"
SETTINGS_FILE = "chitbook.toml"
METRIC, US = "metric", "us"
Network = IPv4Network | IPv6Network
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
_YES, _NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")


@dataclass(frozen=True)
class Setting:
    """One setting as a person meets it. `default` is text, read by the same parser as everybody's text."""

    name: str
    default: Callable[[], str]
    default_words: str
    parse: Callable[[str], Any]
    help: str

    @property
    def environment_name(self) -> str:
        return ENVIRONMENT_PREFIX + self.name.upper()


def parse_path(text: str) -> Path:
    if not text:
        raise ValueError("a path is needed")
    return Path(text).expanduser().absolute()


def parse_host(text: str) -> str:
    if not text or any(character.isspace() or character == "/" for character in text):
        raise ValueError("an address or a name is needed, such as 127.0.0.1")
    return text.strip("[]")


def parse_port(text: str) -> int:
    if not text.isdecimal() or int(text) > 65535:
        raise ValueError("a whole number from 0 to 65535 is needed; 0 takes any free port")
    return int(text)


def parse_zone(text: str) -> ZoneInfo:
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError("a zone's name is needed, such as Europe/Dublin") from error


def parse_time_of_day(text: str) -> time:
    try:
        at = time.fromisoformat(text)
    except ValueError as error:
        raise ValueError("a time of day is needed, such as 21:30") from error
    if at.tzinfo is not None:
        raise ValueError("a time of day without an offset is needed; it is read in the house's zone")
    return at


def parse_units(text: str) -> str:
    if text.lower() not in (METRIC, US):
        raise ValueError(f"either {METRIC} or {US} is needed")
    return text.lower()


def parse_bytes(text: str) -> int:
    if not text.isdecimal() or int(text) < 65536:
        raise ValueError("a whole number of bytes is needed, at least 65536")
    return int(text)


def parse_hosts(text: str) -> tuple[str, ...]:
    hosts = tuple(dict.fromkeys(host.strip().lower() for host in text.split(",") if host.strip()))
    if not hosts:
        raise ValueError("at least one name is needed, several are parted by commas")
    return hosts


def parse_yes_no(text: str) -> bool:
    if text.lower() not in (*_YES, *_NO):
        raise ValueError("yes or no is needed")
    return text.lower() in _YES


def parse_name(text: str) -> str:
    if not _LABEL.fullmatch(text.lower()):
        raise ValueError("a name of letters, digits and hyphens is needed, such as malthouse")
    return text.lower()


def parse_networks(text: str) -> tuple[Network, ...]:
    try:
        return tuple(ip_network(part.strip(), strict=False) for part in text.split(",") if part.strip())
    except ValueError as error:
        raise ValueError("addresses or networks are needed, such as 127.0.0.1 or 10.0.0.0/8, by commas") from error


def _machine_zone() -> str:
    return tzlocal.get_localzone_name() or "UTC"


def _data_dir() -> str:
    return platformdirs.user_data_dir("chitbook", appauthor=False)


def _setting(default: str | Callable[[], str], parse: Callable[[str], Any], help: str, words: str = "") -> Any:
    text = default if callable(default) else lambda: default
    parts = {"default": text, "default_words": words or text(), "parse": parse, "help": help}
    return field(default_factory=lambda: parse(text()), metadata=parts)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The settings of one data folder. Made by `load_settings`, or by hand in a test."""

    data_dir: Path = _setting(
        _data_dir,
        parse_path,
        "The folder that holds everything: database, secret, backups. Can't stand in the file, which lies in it.",
        "the user's data folder",
    )
    host: str = _setting(
        "127.0.0.1",
        parse_host,
        "The address to listen on, by plain http. Leave it on this machine: phones come by `lan`, a proxy by "
        "`trusted_proxies`.",
    )
    port: int = _setting("8416", parse_port, "The port to listen on; 0 takes any free one.")
    allowed_hosts: tuple[str, ...] = _setting(
        "localhost, 127.0.0.1, [::1]",
        parse_hosts,
        "The names by which a browser may call the server, parted by commas. Any other is refused. "
        "The address listened on is always among them.",
    )
    zone: ZoneInfo = _setting(
        _machine_zone,
        parse_zone,
        "The house's time zone: every time is shown and typed in it. Stored times don't depend on it.",
        "the machine's zone",
    )
    units: str = _setting(
        METRIC, parse_units, "The units a new person starts with: metric or us. Each person may choose other ones."
    )
    quiet_from: time = _setting(
        "21:00",
        parse_time_of_day,
        "From this time of day only what must be done at once may make a sound. Each screen may choose its own hours.",
    )
    quiet_until: time = _setting(
        "06:00", parse_time_of_day, "The end of the quiet hours. The same as quiet_from: no quiet hours."
    )
    max_body_bytes: int = _setting("2097152", parse_bytes, "The largest request that is read, in bytes.")

    lan: bool = _setting(
        "no", parse_yes_no, "Whether phones in the house network are let in, over https and paired; also `serve --lan`."
    )
    lan_name: str = _setting(
        "chitbook",
        parse_name,
        "The house's name in its network, without the `.local` that follows it. With another name every phone must "
        "trust a new certificate.",
    )
    lan_host: str = _setting(
        "0.0.0.0", parse_host, "The address on which phones are let in. The default is all that this machine has."
    )
    lan_port: int = _setting("8443", parse_port, "The port for phones (https).")
    lan_http_port: int = _setting(
        "8480", parse_port, "The port that hands out the certificate and how to trust it (http); nothing else."
    )
    desk_addresses: tuple[Network, ...] = _setting(
        "127.0.0.0/8, ::1/128",
        parse_networks,
        "Who calls from one of these addresses sits at the desk: no pairing, may do everything.",
    )
    trusted_proxies: tuple[Network, ...] = _setting(
        "",
        parse_networks,
        "The addresses of a reverse proxy in front, which says in `X-Forwarded-For` and `X-Forwarded-Proto` who calls. "
        "Nobody else is believed.",
        "none",
    )

    is_demo: bool = False
    """Whether this is the demo malthouse, whose folder is emptied at each start. Only the command line says so."""

    @property
    def database_file(self) -> Path:
        return self.data_dir / "chitbook.sqlite"

    @property
    def database_url(self) -> str:
        return f"sqlite:///{self.database_file}"

    @property
    def secret_file(self) -> Path:
        return self.data_dir / "secret"

    @property
    def backup_dir(self) -> Path:
        return self.data_dir / "backups"

    @property
    def accepted_hosts(self) -> frozenset[str]:
        """`allowed_hosts` and the address listened on, as they stand in a Host header without its port."""
        own = f"[{self.host}]" if ":" in self.host else self.host.lower()
        return frozenset(self.allowed_hosts) | {own}

    @property
    def house_name(self) -> str:
        """The house's whole name in its network."""
        return f"{self.lan_name}.local"

    @property
    def proxied_addresses(self) -> tuple[str, ...]:
        """Where phones find the house through a reverse proxy: the names that are not this machine's own to itself."""
        own = parse_hosts("localhost, 127.0.0.1, [::1]")
        names = self.allowed_hosts if self.trusted_proxies else ()
        return tuple(f"https://{name}/" for name in names if name not in own)


SETTINGS = tuple(Setting(name=field_.name, **field_.metadata) for field_ in fields(Settings) if field_.metadata)


def load_settings(
    environment: Mapping[str, str] | None = None, *, is_demo: bool = False, **given: str | None
) -> Settings:
    """Gather the settings; `given` are the command line's, None where nothing was said there."""
    environment = os.environ if environment is None else environment
    spoken = {name: (text, "--" + name.removesuffix("_dir")) for name, text in given.items() if text is not None}
    named = {
        setting.name: (environment[setting.environment_name], setting.environment_name)
        for setting in SETTINGS
        if setting.environment_name in environment
    }
    folder_words = {**named, **spoken}.get("data_dir")
    values: dict[str, Any] = {"is_demo": is_demo}
    if folder_words is not None:
        values["data_dir"] = _parse("data_dir", *folder_words)
    elif is_demo:
        values["data_dir"] = parse_path(_data_dir() + "-demo")
    folder = values.get("data_dir") or parse_path(_data_dir())
    for name, (text, source) in {**_read_file(folder / SETTINGS_FILE), **named, **spoken}.items():
        values[name] = _parse(name, text, source)
    return Settings(**values)


def _parse(name: str, text: str, source: str) -> Any:
    setting = next(each for each in SETTINGS if each.name == name)
    try:
        return setting.parse(text.strip())
    except ValueError as error:
        raise CannotStart(f"{source}: {text!r} won't do; {error}.") from error


def _read_file(path: Path) -> dict[str, tuple[str, str]]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except (OSError, ValueError) as error:
        raise CannotStart(f"{path} can't be read: {error}.") from error
    names = {setting.name for setting in SETTINGS} - {"data_dir"}
    for name in content:
        if name not in names:
            raise CannotStart(f"{path}: there is no setting {name!r}{_hint(name, names)}.")
    return {name: (_as_text(value), f"{path}: {name}") for name, value in content.items()}


def _hint(name: str, names: Iterable[str]) -> str:
    near = get_close_matches(name, names, n=1)
    return f"; perhaps {near[0]!r} is meant" if near else ""


def _as_text(value: Any) -> str:
    """A TOML value as the text one would put into the environment."""
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
