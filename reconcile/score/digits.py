"""Numbers that one slip of the pen turns into another."""

from __future__ import annotations


def swapped(number: float) -> dict[float, float]:
    """Numbers that become `number` when two neighbouring digits are swapped, with their shares."""
    if number != round(number) or number < 10:
        return {}
    text = str(round(number))
    found: dict[float, float] = {}
    for place in range(len(text) - 1):
        other = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
        if other != text and other[0] != "0":
            found[float(other)] = 1.0 / (len(text) - 1)
    return found


def mistyped(number: float) -> dict[float, float]:
    """Numbers that become `number` when one digit is wrong, lost or doubled, with their shares.

    Half of the slips are a wrong digit (a neighbour in value is likelier), a quarter each a lost
    and a doubled one.
    """
    if number != round(number) or number < 1:
        return {}
    text = str(round(number))
    found: dict[float, float] = {}

    def add(origin: str, share: float) -> None:
        if origin and origin[0] != "0":
            found[float(origin)] = found.get(float(origin), 0.0) + share

    for place, digit in enumerate(text):
        for other in set("0123456789") - {digit}:
            near = abs(int(other) - int(digit)) == 1
            add(
                text[:place] + other + text[place + 1 :], 0.5 / len(text) * (0.25 if near else 0.07)
            )
        if place and text[place - 1] == digit:
            add(text[:place] + text[place + 1 :], 0.25 / len(text))
    for place in range(len(text) + 1):
        for digit in "0123456789":
            add(text[:place] + digit + text[place:], 0.25 / (len(text) + 1))
    return found
