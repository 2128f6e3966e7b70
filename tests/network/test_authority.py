"""Our own certificate authority: what it may speak for, and that its key stays ours. Handshakes are real ones."""

from __future__ import annotations

import os
import socket
import ssl
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread

import pytest
from cryptography import x509

from app.config import Settings
from app.errors import CannotStart
from app.network.authority import ensure_authority
from app.network.files import Files
from app.network.house import RENEW_BEFORE, ensure_house, is_due, make_house, names_in, read_house
from app.network.opened import prepare
from tests.network.conftest import trusting

NOW = datetime.now(UTC)
"""Handshakes are checked against the machine's own clock."""
NAME = "chitbook.local"


def shake_hands(house: Path, authority: Path, called: str) -> str:
    """The version of TLS on which a phone and a server with this certificate agree; raises where they don't."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(house)
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            serving.wrap_socket(ours, server_side=True).close()
        except OSError:
            ours.close()

    server = Thread(target=serve)
    server.start()
    try:
        with trusting(authority).wrap_socket(theirs, server_hostname=called) as talk:
            return str(talk.version())
    finally:
        theirs.close()
        server.join()


def issue(files: Files, names: Sequence[str], now: datetime = NOW) -> Path:
    """A certificate for any names, signed by this house's authority as a thief of its key would do it."""
    path = files.folder / "stolen.pem"
    path.write_bytes(make_house(ensure_authority(files, NAME, now), names, now))
    return path


@pytest.mark.parametrize("called", [NAME, "192.168.7.5", "10.0.0.9", "fd00::5", "localhost"])
def test_a_phone_that_trusts_the_house_greets_it_without_complaint(files: Files, called: str) -> None:
    assert shake_hands(issue(files, [NAME, "192.168.7.5", "10.0.0.9", "fd00::5", "localhost"]), files.authority, called)


@pytest.mark.parametrize("foreign", ["bank.example", "chitbook.local.example", "other.local", "8.8.8.8", "2001:db8::1"])
def test_a_certificate_for_anybody_else_is_refused_though_our_key_signed_it(files: Files, foreign: str) -> None:
    stolen = issue(files, [NAME, foreign])
    for called in (foreign, NAME):
        with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
            shake_hands(stolen, files.authority, called)


def test_the_name_constraints_are_critical_and_the_authority_makes_no_other_authority(files: Files) -> None:
    certificate = ensure_authority(files, NAME, NOW).certificate
    assert certificate.extensions.get_extension_for_class(x509.NameConstraints).critical
    basic = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
    assert basic.critical
    assert (basic.value.ca, basic.value.path_length) == (True, 0)


def test_a_phone_that_does_not_trust_the_house_is_warned(files: Files, tmp_path: Path) -> None:
    other = Files(tmp_path)
    ensure_authority(other, NAME, NOW)
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(issue(files, [NAME]), other.authority, NAME)


def test_an_expired_certificate_is_refused(files: Files) -> None:
    expired = issue(files, [NAME], NOW - timedelta(days=397))
    with pytest.raises(ssl.SSLCertVerificationError, match="expired"):
        shake_hands(expired, files.authority, NAME)


def test_a_certificate_lasts_no_longer_than_browsers_accept(files: Files) -> None:
    made = x509.load_pem_x509_certificate(issue(files, [NAME]).read_bytes())
    assert made.not_valid_after_utc - made.not_valid_before_utc <= timedelta(days=397)


def test_the_authority_is_made_once(files: Files) -> None:
    first = ensure_authority(files, NAME, NOW)
    assert ensure_authority(files, NAME, NOW + timedelta(days=300)).fingerprint == first.fingerprint


def test_the_certificate_is_renewed_thirty_days_before_its_end_and_not_earlier(files: Files) -> None:
    authority = ensure_authority(files, NAME, NOW)
    assert ensure_house(files, authority, [NAME], NOW)
    first = read_house(files)
    assert first is not None
    just_before = first.not_valid_after_utc - RENEW_BEFORE - timedelta(minutes=1)
    assert not ensure_house(files, authority, [NAME], just_before)
    assert ensure_house(files, authority, [NAME], just_before + timedelta(minutes=2))
    second = read_house(files)
    assert second is not None
    assert second.not_valid_after_utc - first.not_valid_after_utc > timedelta(days=360)


def test_the_certificate_is_renewed_when_the_machine_gets_another_address(files: Files) -> None:
    authority = ensure_authority(files, NAME, NOW)
    ensure_house(files, authority, [NAME, "192.168.7.5"], NOW)
    assert not ensure_house(files, authority, [NAME, "192.168.7.5"], NOW)
    assert ensure_house(files, authority, [NAME, "192.168.7.6"], NOW)
    renewed = read_house(files)
    assert renewed is not None
    assert names_in(renewed) == (NAME, "192.168.7.6")


def test_a_certificate_of_a_removed_authority_is_made_anew(files: Files, tmp_path: Path) -> None:
    ensure_house(files, ensure_authority(files, NAME, NOW), [NAME], NOW)
    known = read_house(files)
    other = ensure_authority(Files(tmp_path), NAME, NOW)
    assert known is not None
    assert is_due(known, other, [NAME], NOW)


@pytest.mark.skipif(os.name != "posix", reason="modes as POSIX has them")
def test_the_keys_are_made_for_their_owner_alone_whatever_the_umask(files: Files, settings: Settings) -> None:
    earlier = os.umask(0)
    try:
        prepare(settings, NOW)
    finally:
        os.umask(earlier)
    assert files.folder.stat().st_mode & 0o077 == 0
    assert {path.stat().st_mode & 0o077 for path in files.folder.iterdir()} == {0}


@pytest.mark.skipif(os.name != "posix", reason="modes as POSIX has them")
@pytest.mark.parametrize("which", ["authority_key", "house"])
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620])
def test_a_key_that_others_can_read_or_write_stops_the_start(
    files: Files, settings: Settings, which: str, mode: int
) -> None:
    prepare(settings, NOW)
    key: Path = getattr(files, which)
    key.chmod(mode)
    with pytest.raises(CannotStart, match="can be read by others") as refusal:
        prepare(settings, NOW)
    assert str(key) in str(refusal.value)
    key.chmod(0o600)
    prepare(settings, NOW)


def test_another_name_or_a_damaged_authority_stops_the_start_and_says_the_way_out(files: Files) -> None:
    ensure_authority(files, NAME, NOW)
    with pytest.raises(CannotStart, match=r"not for malthouse\.local: set the old lan_name"):
        ensure_authority(files, "malthouse.local", NOW)
    with pytest.raises(CannotStart, match="has expired"):
        ensure_authority(files, NAME, NOW + timedelta(days=3650))
    files.authority.write_bytes(b"nonsense")
    with pytest.raises(CannotStart, match="can't be read"):
        ensure_authority(files, NAME, NOW)
    files.authority.unlink()
    with pytest.raises(CannotStart, match="can't be read"):
        ensure_authority(files, NAME, NOW)


def test_no_certificate_is_made_for_an_address_of_the_whole_world(settings: Settings) -> None:
    with pytest.raises(CannotStart, match="lies in no house"):
        prepare(replace(settings, lan_host="192.0.2.1"), NOW)
