"""Our own certificate authority: it can speak for this house's name and for private addresses, and for nothing else.

A phone that trusts it trusts it for good. So its certificate carries name constraints, marked critical (RFC 5280,
section 4.2.1.10): even whoever steals the key can make no certificate for anybody's bank.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from app.errors import CannotStart
from app.network.addresses import PRIVATE
from app.network.files import Files, check_private, make_private_folder, write_private

LIFE = timedelta(days=3650)
CLOCKS_APART = timedelta(days=1)
"""A phone whose clock is a day behind must not find the certificate too young."""


@dataclass(frozen=True)
class Authority:
    """The authority's certificate and its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.certificate)

    def der(self) -> bytes:
        return self.certificate.public_bytes(serialization.Encoding.DER)


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 as phones show it: pairs of digits with colons between."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def ensure_authority(files: Files, name: str, now: datetime) -> Authority:
    """The authority of this folder, made on the first call. Refuses a readable key, and one of another house's name."""
    make_private_folder(files.folder)
    if not files.authority_key.exists() and not files.authority.exists():
        _store(files, make_authority(name, now))
    authority = load_authority(files)
    remedy = f"remove the folder {files.folder}, and have every phone trust the new certificate"
    if name not in _permitted_names(authority.certificate):
        raise CannotStart(f"The certificates in {files.folder} are not for {name}: set the old lan_name, or {remedy}.")
    if authority.certificate.not_valid_after_utc - now < timedelta(days=1):
        raise CannotStart(f"The certificate authority in {files.folder} has expired: {remedy}.")
    return authority


def make_authority(name: str, now: datetime) -> Authority:
    """A new authority for one `.local` name, localhost, and private addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    titled = x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, f"Chitbook of {name}"[:64]),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Chitbook"),
        ]
    )
    builder = (
        x509.CertificateBuilder()
        .subject_name(titled)
        .issuer_name(titled)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_APART)
        .not_valid_after(now + LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_may_sign(), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(_constraints(name), critical=True)
    )
    return Authority(builder.sign(key, hashes.SHA256()), key)


def _may_sign() -> x509.KeyUsage:
    no = dict.fromkeys(
        ("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"), False
    )
    return x509.KeyUsage(key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False, **no)


def _constraints(name: str) -> x509.NameConstraints:
    names: list[x509.GeneralName] = [x509.DNSName(name), x509.DNSName("localhost")]
    return x509.NameConstraints([*names, *map(x509.IPAddress, PRIVATE)], None)


def _permitted_names(certificate: x509.Certificate) -> list[str]:
    try:
        constraints = certificate.extensions.get_extension_for_class(x509.NameConstraints).value
    except x509.ExtensionNotFound:
        return []
    return [each.value for each in constraints.permitted_subtrees or () if isinstance(each, x509.DNSName)]


def _store(files: Files, authority: Authority) -> None:
    write_private(files.authority_key, key_pem(authority.key))
    write_private(files.authority, authority.certificate.public_bytes(serialization.Encoding.PEM))


def key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    form = serialization.PrivateFormat.PKCS8
    return key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption())


def load_authority(files: Files) -> Authority:
    try:
        check_private(files.authority_key)
        key = serialization.load_pem_private_key(files.authority_key.read_bytes(), None)
        certificate = x509.load_pem_x509_certificate(files.authority.read_bytes())
    except (OSError, ValueError, TypeError) as error:
        raise CannotStart(f"The certificate authority in {files.folder} can't be read: {error}.") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise CannotStart(f"The key and the certificate in {files.folder} don't belong together.")
    return Authority(certificate, key)
