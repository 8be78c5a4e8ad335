"""Makes the links, from the installation’s secret and its configured address: a job has no request to take it from."""

from __future__ import annotations

from dataclasses import dataclass, field

from portal.rules.tokens import LinkKind, Token, make_token, matches

_MOST_RENEWED = 20  # a link renewed more often is taken for a forged one once its row is gone


@dataclass(frozen=True)
class Links:
    """Absolute addresses of the site. `secret` never shows itself when printed."""

    base_url: str
    secret: bytes = field(repr=False)

    def customer(self, kind: LinkKind, ref: str, version: int) -> str:
        """The address of the customer's page for one docket, contact or question."""
        return f"{self.base_url}/t/{make_token(self.secret, kind, ref, version)}"

    def code(self, ref: str, version: int) -> str:
        """The docket's address as its QR code carries it: upper case fits the compact alphanumeric mode."""
        return self.customer(LinkKind.DOCKET, ref, version).upper()

    def bench(self, number: str) -> str:
        """The ticket's bench page, where a login is needed."""
        return f"{self.base_url}/bench/{number}"

    def camera(self) -> str:
        """The page that makes a phone a camera, where a login is needed."""
        return f"{self.base_url}/bench/camera"

    def current(self, token: Token, version: int) -> bool:
        """Whether the token is right for this version."""
        return matches(token, self.secret, version)

    def outdated(self, token: Token, version: int) -> bool:
        """Whether the token was right for an earlier version: a renewed link, told apart from a forged one."""
        return any(matches(token, self.secret, earlier) for earlier in range(1, version))

    def ours(self, token: Token) -> bool:
        """Whether the token was ever made here, whatever became of what it led to. Nothing need be kept to know."""
        return self.outdated(token, _MOST_RENEWED)
