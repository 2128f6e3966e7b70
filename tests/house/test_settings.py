"""Every setting: where it comes from, what a bad one says, and that the guide lists it."""

from datetime import time
from ipaddress import ip_network
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from app.config import SETTINGS, Setting, Settings, load_settings
from app.errors import CannotStart
from app.quiet import is_quiet

GUIDE = Path(__file__).parents[2] / "docs" / "settings.md"

BAD = {
    "data_dir": "",
    "host": "two words",
    "port": "70000",
    "allowed_hosts": " , ",
    "zone": "Middle/Earth",
    "units": "furlongs",
    "quiet_from": "25:00",
    "quiet_until": "evening",
    "max_body_bytes": "2 MB",
    "lan": "perhaps",
    "lan_name": "malt.house",
    "lan_host": "two words",
    "lan_port": "https",
    "lan_http_port": "-1",
    "desk_addresses": "desk",
    "trusted_proxies": "10.0.0.0/40",
}
GOOD = {
    "data_dir": ("/somewhere/else", Path("/somewhere/else")),
    "host": ("[::1]", "::1"),
    "port": ("0", 0),
    "allowed_hosts": ("Malthouse.example, localhost", ("malthouse.example", "localhost")),
    "zone": ("Europe/Dublin", ZoneInfo("Europe/Dublin")),
    "units": ("US", "us"),
    "quiet_from": ("22:30", time(22, 30)),
    "quiet_until": ("05:00", time(5)),
    "max_body_bytes": ("100000", 100_000),
    "lan": ("Yes", True),
    "lan_name": ("Malthouse", "malthouse"),
    "lan_host": ("192.168.1.5", "192.168.1.5"),
    "lan_port": ("443", 443),
    "lan_http_port": ("80", 80),
    "desk_addresses": ("::1", (ip_network("::1/128"),)),
    "trusted_proxies": ("10.1.2.3, fd00::/8", (ip_network("10.1.2.3/32"), ip_network("fd00::/8"))),
}


def write_file(folder: Path, content: str) -> None:
    (folder / "chitbook.toml").write_text(content, encoding="utf-8")


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.name)
def test_the_guide_lists_the_setting_as_it_is(setting: Setting) -> None:
    row = f"| `{setting.name}` | `{setting.environment_name}` | {setting.default_words} | {setting.help} |"
    assert row in GUIDE.read_text(encoding="utf-8").splitlines()


def test_the_guide_lists_nothing_else() -> None:
    rows = [line for line in GUIDE.read_text(encoding="utf-8").splitlines() if "| `CHITBOOK_" in line]
    assert len(rows) == len(SETTINGS)


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.name)
def test_the_environment_is_read(setting: Setting, tmp_path: Path) -> None:
    text, expected = GOOD[setting.name]
    environment = {"CHITBOOK_DATA_DIR": str(tmp_path), setting.environment_name: text}
    assert getattr(load_settings(environment), setting.name) == expected


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda setting: setting.name)
def test_a_bad_value_is_named_in_one_line(setting: Setting, tmp_path: Path) -> None:
    environment = {"CHITBOOK_DATA_DIR": str(tmp_path), setting.environment_name: BAD[setting.name]}
    with pytest.raises(CannotStart) as refusal:
        load_settings(environment)
    assert str(refusal.value).startswith(f"{setting.environment_name}: {BAD[setting.name]!r}")
    assert "\n" not in str(refusal.value)


def test_the_stronger_word_wins(tmp_path: Path) -> None:
    write_file(tmp_path, 'port = 1111\nunits = "us"\nhost = "127.0.0.2"')
    environment = {"CHITBOOK_PORT": "2222", "CHITBOOK_HOST": "127.0.0.3"}
    settings = load_settings(environment, data_dir=str(tmp_path), port="3333", host=None)
    assert (settings.port, settings.host, settings.units) == (3333, "127.0.0.3", "us")


def test_the_file_may_use_its_own_kinds_of_value(tmp_path: Path) -> None:
    write_file(tmp_path, 'allowed_hosts = ["a.example", "b.example"]\nquiet_from = 22:15:00\nmax_body_bytes = 70000')
    settings = load_settings({}, data_dir=str(tmp_path))
    assert settings.allowed_hosts == ("a.example", "b.example")
    assert (settings.quiet_from, settings.max_body_bytes) == (time(22, 15), 70_000)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("prot = 8000", "there is no setting 'prot'; perhaps 'port' is meant"),
        ('data_dir = "/elsewhere"', "there is no setting 'data_dir'"),
        ("port = many", "can't be read"),
        ("port = 1.5", "port: '1.5' won't do"),
        ("port = true", "port: 'True' won't do"),
    ],
)
def test_a_mistake_in_the_file_is_named_with_its_place(content: str, words: str, tmp_path: Path) -> None:
    write_file(tmp_path, content)
    with pytest.raises(CannotStart) as refusal:
        load_settings({}, data_dir=str(tmp_path))
    assert words in str(refusal.value)
    assert str(tmp_path / "chitbook.toml") in str(refusal.value)


def test_a_mistake_on_the_command_line_is_named_by_its_option(tmp_path: Path) -> None:
    with pytest.raises(CannotStart, match="--port: 'many' won't do"):
        load_settings({}, data_dir=str(tmp_path), port="many")
    with pytest.raises(CannotStart, match="--data: '' won't do"):
        load_settings({}, data_dir="")


def test_the_demo_has_a_folder_of_its_own() -> None:
    usual, demo = load_settings({}), load_settings({}, is_demo=True)
    assert demo.data_dir != usual.data_dir
    assert demo.data_dir not in usual.data_dir.parents
    assert usual.data_dir not in demo.data_dir.parents


def test_settings_made_by_hand_have_the_same_defaults(tmp_path: Path) -> None:
    assert Settings(data_dir=tmp_path) == load_settings({}, data_dir=str(tmp_path))


@pytest.mark.parametrize(
    ("from_", "until", "quiet", "loud"),
    [
        ("21:00", "06:00", ["21:00", "23:59", "00:00", "05:59"], ["06:00", "12:00", "20:59"]),
        ("13:00", "15:00", ["13:00", "14:59"], ["12:59", "15:00", "00:00"]),
        ("06:00", "06:00", [], ["06:00", "05:59", "00:00"]),
    ],
)
def test_quiet_hours_may_span_midnight(from_: str, until: str, quiet: list[str], loud: list[str]) -> None:
    starts, ends = time.fromisoformat(from_), time.fromisoformat(until)
    assert all(is_quiet(time.fromisoformat(at), starts, ends) for at in quiet)
    assert not any(is_quiet(time.fromisoformat(at), starts, ends) for at in loud)


def test_the_address_listened_on_is_an_accepted_host() -> None:
    assert "[fd00::1]" in Settings(host="fd00::1").accepted_hosts
    assert {"localhost", "127.0.0.1", "[::1]", "malthouse.example"} == Settings(host="Malthouse.example").accepted_hosts
