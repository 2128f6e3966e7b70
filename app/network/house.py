"""The house's own certificate: for its name and its present addresses, renewed before anybody notices."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from ipaddress import ip_address

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from app.network.addresses import plain
from app.network.authority import CLOCKS_APART, Authority, key_pem
from app.network.files import Files, write_private

LIFE = timedelta(days=397)
"""The longest that browsers accept of anybody is 398 days; the day less is for clocks that differ."""
RENEW_BEFORE = timedelta(days=30)


def ensure_house(files: Files, authority: Authority, names: Sequence[str], now: datetime) -> bool:
    """Make the house's certificate where it is missing, is near its end, or is for other names. Says whether it did."""
    house = read_house(files)
    if house is not None and not is_due(house, authority, names, now):
        return False
    write_private(files.house, make_house(authority, names, now))
    return True


def is_due(certificate: x509.Certificate, authority: Authority, names: Sequence[str], now: datetime) -> bool:
    return (
        certificate.not_valid_after_utc - now < RENEW_BEFORE
        or now < certificate.not_valid_before_utc
        or set(names_in(certificate)) != set(names)
        or not _is_by(certificate, authority)
    )


def make_house(authority: Authority, names: Sequence[str], now: datetime) -> bytes:
    """A certificate and a new key, both as PEM: the certificate first."""
    key = ec.generate_private_key(ec.SECP256R1())
    issuer = authority.certificate
    begins = now - CLOCKS_APART
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(min(begins + LIFE, issuer.not_valid_after_utc))
        .add_extension(x509.SubjectAlternativeName([_general_name(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(_issued_by(authority), critical=False)
    )
    certificate = builder.sign(authority.key, hashes.SHA256())
    return certificate.public_bytes(serialization.Encoding.PEM) + key_pem(key)


def read_house(files: Files) -> x509.Certificate | None:
    """The certificate that is there; None where there is none that can be read."""
    try:
        return x509.load_pem_x509_certificate(files.house.read_bytes())
    except (OSError, ValueError):
        return None


def names_in(certificate: x509.Certificate) -> tuple[str, ...]:
    """Names and addresses it is for, as they stand in an address without port: version 6 without brackets."""
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return tuple(str(each.value) for each in names)


def _general_name(name: str) -> x509.GeneralName:
    return x509.DNSName(name) if plain(name) is None else x509.IPAddress(ip_address(name))


def _issued_by(authority: Authority) -> x509.AuthorityKeyIdentifier:
    key = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    return x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(key)


def _is_by(certificate: x509.Certificate, authority: Authority) -> bool:
    try:
        certificate.verify_directly_issued_by(authority.certificate)
    except Exception:  # whatever is wrong with it, a new one is made
        return False
    return True
