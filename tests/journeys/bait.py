"""A study whose every secret is a random word that can stand nowhere by chance."""

from __future__ import annotations

import secrets

SECRET_FIELDS = ("name", "maker", "lot", "price", "note")


def random_word() -> str:
    """Sixteen letters and digits, capitals and small ones."""
    return "".join(secrets.choice("abcdefghkmnpqrstuvwxyzABCDEFGHKMNPQRSTUVWXYZ23456789") for _ in range(16))


def baited(typed: dict[str, str]) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """The draft with every secret field of every sample replaced, and the words: name of the sample -> its words."""
    rows = sorted({name.split("-")[1] for name in typed if name.startswith("product-")})
    changed, words = dict(typed), {}
    for row in rows:
        drawn = {f"product-{row}-{field}": random_word() for field in SECRET_FIELDS}
        changed |= drawn
        words[drawn[f"product-{row}-name"]] = tuple(drawn.values())
    return changed, words


def all_words(words: dict[str, tuple[str, ...]]) -> frozenset[str]:
    return frozenset(word for group in words.values() for word in group)
