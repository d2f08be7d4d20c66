"""Random names for rows, so that no id tells an order or a number."""

import base64
import secrets


def new_id() -> str:
    """80 random bits in 16 lower-case base32 characters."""
    return base64.b32encode(secrets.token_bytes(10)).decode("ascii").lower()
