"""Inviting a phone: a secret that works once and not for long, then a session until the desk closes.

Nothing of it is written to disk. Secrets are compared in constant time.
"""

import hashlib
import hmac
import secrets
import socket
import time
from collections.abc import Callable
from typing import Final

COOKIE: Final = "desk"
VALID_SECONDS: Final = 600
"""An invitation that nobody took up in ten minutes is withdrawn."""
MOST_TRIES: Final = 10
"""Wrong secrets after which an invitation is withdrawn: somebody is guessing."""
MOST_PHONES: Final = 5


class Pairing:
    """The invitation that is open, if there is one, and the phones that took one up."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._secret = b""
        self._until = 0.0
        self._tries = 0
        self._sessions: list[bytes] = []

    def invite(self) -> str:
        """Make a new secret; the one before it is void."""
        secret = secrets.token_urlsafe(16)
        self._secret, self._until, self._tries = _digest(secret), self._now() + VALID_SECONDS, 0
        return secret

    @property
    def open(self) -> bool:
        """Whether an invitation can be taken up now."""
        return bool(self._secret) and self._now() < self._until

    @property
    def phones(self) -> int:
        """How many phones are paired."""
        return len(self._sessions)

    def accept(self, secret: str) -> str | None:
        """Take an invitation up: a session for the right secret, once; None for any other."""
        right = hmac.compare_digest(_digest(secret), self._secret or _digest(secrets.token_hex()))
        if not self.open:
            return None
        if not right:
            self._tries += 1
            if self._tries >= MOST_TRIES:
                self._secret = b""
            return None
        self._secret = b""
        session = secrets.token_urlsafe(32)
        self._sessions = [*self._sessions, _digest(session)][-MOST_PHONES:]
        return session

    def knows(self, session: str) -> bool:
        """Whether a session is that of a paired phone; every session is compared, whichever matches."""
        digest = _digest(session)
        found = False
        for known in self._sessions:
            found |= hmac.compare_digest(digest, known)
        return found

    def end(self) -> None:
        """Withdraw the invitation and send every phone away."""
        self._secret = b""
        self._sessions = []


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()


def home_address() -> str | None:
    """This computer's address on the home network, or None where it has none.

    Nothing is sent: opening a datagram socket only asks the system which way it would go.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # RFC 5737: an address that is nobody's
        except OSError:
            return None
        address = str(asked.getsockname()[0])
    return None if address.startswith("127.") else address
