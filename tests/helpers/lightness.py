"""How light a colour is, computed from the standards."""


def lightness(colour: str) -> float:
    """Return the CIE 1976 lightness L*, 0 to 100, of an sRGB colour such as ``#0000ff``.

    IEC 61966-2-1: linear is c / 12.92 up to 0.04045, else ((c + 0.055) / 1.055)^2.4, and
    Y = 0.2126 R + 0.7152 G + 0.0722 B. CIE 15: L* = 116 f(Y) - 16 where f is the cube root
    above (6 / 29)^3, else a third of (29 / 6)^2 Y and 4 / 29.
    """
    values = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in values]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    f = y ** (1 / 3) if y > (6 / 29) ** 3 else (29 / 6) ** 2 / 3 * y + 4 / 29
    return 116 * f - 16
