"""The key of an encrypted backup folder, sealed by a passphrase.

The key encrypts files by the age format (X25519 and ChaCha20-Poly1305, package `pyrage`) and gives
them names that tell nothing: HMAC-SHA-256 of their hash. It is sealed with ChaCha20-Poly1305 (RFC
8439) under a key from the passphrase by scrypt (RFC 7914; OWASP's password storage cheat sheet asks
for N of 2^17, r of 8, p of 1).
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import unicodedata
from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError

SCRYPT_N: Final = 1 << 17
SCRYPT_R: Final = 8
SCRYPT_P: Final = 1
MOST_N: Final = 1 << 20
"""A key file that asks for more (1 GiB of memory) is not followed."""
LEAST_LETTERS: Final = 8
_FORMAT: Final = "beltside-backup-key"


class PassphraseError(BeltsideError):
    """The passphrase does not open the backup."""


@dataclass(frozen=True)
class BackupKey:
    """What encrypts and names the files of one backup folder."""

    identity: str
    name_key: bytes

    def name_of(self, sha256: str) -> str:
        """The name a file of this hash has in the folder."""
        return hmac.new(self.name_key, sha256.encode("ascii"), hashlib.sha256).hexdigest()

    def encrypt(self, reading: Any, writing: Any) -> None:
        """Encrypt all that can be read; a few hundred kB of memory whatever its length."""
        import pyrage

        identity = pyrage.x25519.Identity.from_str(self.identity)
        pyrage.encrypt_io(reading, writing, [identity.to_public()])

    def decrypt(self, reading: Any, writing: Any) -> None:
        """The reverse; what was written until then is worth nothing when it raises.

        Raises
        ------
        BeltsideError
            When it was not encrypted by this key, or is damaged.
        """
        import pyrage

        try:
            pyrage.decrypt_io(reading, writing, [pyrage.x25519.Identity.from_str(self.identity)])
        except (pyrage.DecryptError, OSError, ValueError) as error:
            if isinstance(error, OSError) and error.errno:
                raise
            raise BeltsideError("A file of the backup is damaged and can't be decrypted") from error


def new_key() -> BackupKey:
    """A new key by chance."""
    import pyrage

    return BackupKey(str(pyrage.x25519.Identity.generate()), os.urandom(32))


def seal(key: BackupKey, passphrase: str) -> bytes:
    """The key as a file that only the passphrase opens.

    Raises
    ------
    InputError
        When the passphrase is too short.
    """
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    if len(passphrase) < LEAST_LETTERS:
        raise InputError(
            f"The passphrase has {len(passphrase)} characters",
            allowed=f"{LEAST_LETTERS} and more",
            instead="five or six words that have nothing to do with each other",
        )
    salt, nonce = os.urandom(16), os.urandom(12)
    plain = json.dumps({"identity": key.identity, "names": key.name_key.hex()}).encode()
    sealed = ChaCha20Poly1305(_derived(passphrase, salt, SCRYPT_N, SCRYPT_R, SCRYPT_P)).encrypt(
        nonce, plain, _FORMAT.encode()
    )
    content = {
        "format": _FORMAT,
        "version": 1,
        "scrypt": {"n": SCRYPT_N, "r": SCRYPT_R, "p": SCRYPT_P, "salt": _text(salt)},
        "nonce": _text(nonce),
        "sealed": _text(sealed),
    }
    return json.dumps(content, indent=1).encode() + b"\n"


def unseal(data: bytes, passphrase: str) -> BackupKey:
    """The key out of such a file.

    Raises
    ------
    PassphraseError
        When the passphrase is another one.
    InputError
        When the file is damaged or from a newer version.
    """
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        content: Any = json.loads(data)
        ways = content["scrypt"]
        n, r, p = (int(ways[name]) for name in ("n", "r", "p"))
        salt, nonce = base64.b64decode(ways["salt"]), base64.b64decode(content["nonce"])
        sealed = base64.b64decode(content["sealed"])
        sound = content["format"] == _FORMAT and content["version"] == 1 and len(nonce) == 12
        sound = sound and 2 <= n <= MOST_N and n & (n - 1) == 0 and 1 <= r <= 16 and 1 <= p <= 4
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _damaged() from error
    if not sound:
        raise _damaged()
    try:
        plain = ChaCha20Poly1305(_derived(passphrase, salt, n, r, p)).decrypt(
            nonce, sealed, _FORMAT.encode()
        )
        key = json.loads(plain)
        return BackupKey(str(key["identity"]), bytes.fromhex(key["names"]))
    except InvalidTag as error:
        raise PassphraseError(
            "This passphrase does not open the backup",
            instead="the passphrase it was made with; capital letters and spaces count",
        ) from error


def _damaged() -> InputError:
    return InputError(
        "The backup's key file is damaged, or from a newer Beltside",
        instead="the file key.json from a copy of the backup",
    )


def _derived(passphrase: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    # The same letters typed on another system may come in another Unicode form.
    text = unicodedata.normalize("NFKC", passphrase).encode("utf-8", "surrogatepass")
    return Scrypt(salt=salt, length=32, n=n, r=r, p=p).derive(text)


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")
