"""Sign-in by token."""

from knox.auth import TokenAuthentication


class TokenSignIn(TokenAuthentication):
    """The token library's sign-in: hashed at rest, expiring, revocable."""
