"""The numbers under which tasters stand in every table."""

_LETTERS = "abcdefghijklmnopqrstuvwxyz"


def taster_name(place: int, attempt_number: int) -> str:
    """ "T07" for whoever took place 7 first, "T07b" for the second who did."""
    return f"T{place:02d}" + ("" if attempt_number == 1 else _LETTERS[(attempt_number - 1) % len(_LETTERS)])
