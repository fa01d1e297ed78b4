"""Sign-in by token."""

from django.utils import timezone
from knox.auth import TokenAuthentication
from knox.crypto import hash_token
from knox.models import AuthToken, get_token_model
from rest_framework.exceptions import AuthenticationFailed

from registry.models import Operator


class TokenSignIn(TokenAuthentication):
    """The token library's sign-in (hashed at rest, expiring, revocable) in a single query.

    A token's digest is its key, so it is looked up by that; an expired token is refused and left for the
    keeper to see, where the library would delete it, and an uploading clinic is fetched along.
    """

    def authenticate_credentials(self, token: bytes) -> tuple[Operator, AuthToken]:
        """Return operator and token. Raises AuthenticationFailed when it is unknown, expired or ended."""
        try:
            digest = hash_token(token.decode("ascii"))
        except UnicodeDecodeError:
            raise AuthenticationFailed("The token is not known.") from None
        found = get_token_model().objects.select_related("user__clinic").filter(digest=digest).first()
        if found is None:
            raise AuthenticationFailed("The token is not known.")
        if found.expiry is not None and found.expiry < timezone.now():
            raise AuthenticationFailed("The token has expired.")
        if not found.user.is_active:
            raise AuthenticationFailed("The operator's account has ended.")
        return found.user, found
